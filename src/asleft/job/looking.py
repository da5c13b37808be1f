"""The picture of a car on a link, without opening a job: read only."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import msgspec

from asleft.book.car_map import CarMap
from asleft.link.found import KINDS, found_links
from asleft.link.message_recorder import recorded
from asleft.live.recordings import ReplaySignals, read_recording
from asleft.live.sampler import LinkSignals
from asleft.live.together import CarSignals
from asleft.model.effect import Receipt
from asleft.model.errors import Code, InputError, RecordError
from asleft.model.module import Item, ModulePicture, Picture, PictureKind
from asleft.model.reading import Absence, AbsenceKind, Series
from asleft.ports.bus import Link
from asleft.ports.clock import Clock
from asleft.ports.messages import MessageLink
from asleft.talk.conversations import Conversations
from asleft.talk.modules import MappedModule, ModuleMap
from asleft.talk.pictures import take_picture
from asleft.talk.sweep import sweep

from .car_maps import heard_on
from .proof_sources import keeping


def _no_receipt(_receipt: Receipt) -> None:
    raise RecordError(Code.RECEIPT_USED, "looking never changes anything")


async def look_at(
    link: Link | MessageLink,
    clock: Clock,
    modules: ModuleMap,
    save: tuple[Path, str] | None = None,
    agreed_by: str = "",
) -> Picture:
    """Take a picture as found. Nothing that changes the car can be sent: there is no journal to allow it.

    Args:
        save: folder and stem of files that keep what went over the link, security payloads blanked.
        agreed_by: who agreed that further addresses are searched for modules; empty: none are.
    Raises: LinkError: no-bus, link-lost. RunError (gate-closed): a search without engine off and standing shown.
        InputError (link-address-bad): a search on a link without CAN frames.
    """
    source = recorded(link, clock, *save) if save else link
    await source.open()
    talk = Conversations(source, clock, _no_receipt)
    try:
        signals = LinkSignals(talk, clock)
        if agreed_by:
            modules = await _with_further(talk, source, clock, signals, agreed_by, modules)
        return await take_picture(PictureKind.AS_FOUND, modules, talk, clock, signals)
    finally:
        await talk.close()
        await source.close()


async def _with_further(
    talk: Conversations,
    link: Link | MessageLink,
    clock: Clock,
    signals: LinkSignals,
    agreed_by: str,
    modules: ModuleMap,
) -> ModuleMap:
    if isinstance(link, MessageLink):
        raise InputError(Code.LINK_ADDRESS_BAD, "further modules are searched for on CAN", link.name)
    found = await sweep(talk, link, clock, signals, agreed_by)
    known = {module.address.place for module in modules.modules}
    further = tuple(MappedModule(address) for address in found if address.place not in known)
    return msgspec.structs.replace(modules, modules=(*modules.modules, *further))


async def look_at_recording(path: Path, clock: Clock) -> Picture:
    """The picture that a recording of values gives: its key-on rows, else its first values. No modules, no codes.

    Raises: InputError: recording-unreadable, column-map-bad.
    """
    recording = read_recording(path, None)
    signals = ReplaySignals(recording, clock)
    readings = signals.key_on_readings() or await signals.read(tuple(recording.signals))
    notes = (
        Item("recording", "recording", recording.name),
        Item("recording-map", "column map", recording.map_name),
        Item("modules", "modules and codes", absence=Absence(AbsenceKind.NOT_READ, "a recording of values has none")),
    )
    return Picture(PictureKind.AS_FOUND, clock.now(), clock.now(), readings=readings, notes=notes)


async def record_signals(
    link: Link | MessageLink,
    clock: Clock,
    signals: Sequence[str],
    seconds: float,
    car: CarMap | None = None,
    keep: Path | None = None,
) -> dict[str, Series]:
    """Record signals for some time; those without a reading are left out.

    Args: car: the map whose identifiers and broadcasts are read too. keep: file of the recording, written in parts that
        survive a crash.
    Raises: LinkError: no-bus, link-lost. InputError: description-bad, recording-unreadable.
    """
    await link.open()
    talk = Conversations(link, clock, _no_receipt)
    try:
        source = CarSignals(talk, clock, mapped=car.mapped if car else (), heard=heard_on(link, car))
        deaf = source.listen()
        await source.prepare()
        take, end = keeping(keep, source.catalogue()) if keep else (None, None)
        try:
            found = await source.record(signals, seconds, take)
        finally:
            deaf()
            if end is not None:
                end()
    finally:
        await talk.close()
        await link.close()
    return {series.signal: series for series in found if len(series)}


def picture_lines(picture: Picture, origin: str) -> tuple[str, ...]:
    """A picture to read, module by module, with the reason for every gap."""
    lines = [f"origin {origin}, {len(picture.modules)} module(s), {picture.stop_s - picture.start_s:.2f} s"]
    for module in picture.modules:
        lines += _module_lines(module)
    for reading in picture.readings:
        value = _absent(reading.absence) if reading.absence else f"{reading.value:g} {reading.unit}"
        lines.append(f"{reading.signal}: {value}")
    lines += [f"{n.name}: {_absent(n.absence) if n.absence else f'{n.value} {n.unit}'.strip()}" for n in picture.notes]
    return tuple(lines)


def _module_lines(module: ModulePicture) -> list[str]:
    if not module.responded:
        return [f"{module.address.text}: did not answer"]
    codes = ", ".join(f"{c.full} ({c.kind.value})" for c in module.codes)
    told = codes or (_absent(module.codes_absence) if module.codes_absence else "none")
    items = [
        f"  {i.name}: {_absent(i.absence) if i.absence else f'{i.value} {i.unit}'.strip()}"
        for i in (*module.identification, *module.coding, *module.learned)
    ]
    return [f"{module.address.text}: trouble codes {told}", *items]


def _absent(absence: Absence) -> str:
    refusal = f" with {absence.refusal:02X}" if absence.refusal else ""
    detail = f": {absence.detail}" if absence.detail else ""
    return f"{absence.kind.value.replace('-', ' ')}{refusal}{detail}"


def found_lines() -> tuple[str, ...]:
    """Interfaces found on this machine, and what each kind of link needs."""
    found = [f"{link.address}: {link.note}" for link in found_links()]
    needs = [f"  {kind} {need}" for kind, need in KINDS.items()]
    return (*(found or ["no interface found"]), "", "what each kind of link needs:", *needs)
