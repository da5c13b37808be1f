"""A picture of a car's modules: what each says of itself, with the reason for everything that could not be had.

Standard OBD of every module that answers to everybody, the standardised UDS identification, trouble codes of both
languages, and what the workshop's map of this car names. Only reads are sent, in the default session::

    picture = await take_picture(PictureKind.AS_FOUND, modules, talk, clock, signals)

Source of the identifiers F187 to F197: ISO 14229-1, annex C (recalled).
"""

from __future__ import annotations

import asyncio
import typing
from contextlib import AbstractAsyncContextManager

import msgspec

from asleft.codec.refusal import Protocol
from asleft.model.module import Item, ModuleAddress, ModulePicture, Picture, PictureKind
from asleft.model.reading import Absence, AbsenceKind, Reading
from asleft.model.trouble import CodeKind, TroubleCode
from asleft.ports.clock import Clock
from asleft.ports.conversation import Conversation
from asleft.ports.signals import Signals

from .everybody import Outcome
from .identifiers import Found, IdentifierReader
from .kwp_picture import KwpReader, read_kwp_codes
from .modules import Form, MappedItem, MappedModule, ModuleMap
from .obd_picture import ObdPart, read_obd_part
from .pace import ModulePace
from .reading_items import NO_ANSWER, is_silence, item_from
from .uds_codes import read_uds_codes

#: The standardised identification of a module.
IDENTIFICATION: tuple[MappedItem, ...] = (
    MappedItem("part-number", "part number", 0xF187, Form.TEXT),
    MappedItem("software-number", "software number", 0xF188, Form.TEXT),
    MappedItem("software-version", "software version", 0xF189, Form.TEXT),
    MappedItem("hardware-number", "hardware number", 0xF191, Form.TEXT),
    MappedItem("serial-number", "serial number", 0xF18C, Form.TEXT),
    MappedItem("vin", "VIN", 0xF190, Form.TEXT),
    MappedItem("supplier-software-version", "supplier's software version", 0xF195, Form.TEXT),
    MappedItem("manufacturing-date", "date of manufacture", 0xF18B, Form.HEX),
    MappedItem("system-name", "system name", 0xF197, Form.TEXT),
)

#: Standard OBD data that belong to a picture (TRADE 7.3 E): state of the car, supply, counters.
PICTURE_SIGNALS: tuple[str, ...] = (
    "control-module-voltage",
    "engine-speed",
    "vehicle-speed",
    "run-time",
    "coolant-temperature",
    "intake-air-temperature",
    "ambient-temperature",
    "engine-oil-temperature",
    "barometric-pressure",
    "manifold-pressure",
    "mass-air-flow",
    "engine-load",
    "throttle-absolute",
    "throttle-absolute-b",
    "throttle-commanded",
    "accelerator-pedal-d",
    "accelerator-pedal-e",
    "short-term-trim-1",
    "long-term-trim-1",
    "fuel-level",
    "distance-with-lamp",
    "warm-ups-since-clear",
    "distance-since-clear",
    "time-with-lamp",
    "time-since-clear",
    "odometer",
)


class AsksEverybody(Conversation, typing.Protocol):
    """A conversation that can also ask all OBD modules at once and remembers what modules bear."""

    @property
    def protocol(self) -> Protocol:
        """Language of the modules."""
        ...

    def pace_of(self, target: ModuleAddress) -> ModulePace:
        """What is known of a module."""
        ...

    def remember(self, target: ModuleAddress, pace: ModulePace) -> None:
        """Keep what was learned of a module."""
        ...

    def quiet(self) -> AbstractAsyncContextManager[None]:
        """Nothing goes out while this is held."""
        ...

    async def ask_everybody(
        self, request: bytes, *, wide: bool = False, deadline_s: float | None = None
    ) -> dict[ModuleAddress, Outcome]:
        """Answers or refusals by the module that gave them; silence is an empty result."""
        ...


async def take_picture(
    kind: PictureKind, modules: ModuleMap, talk: AsksEverybody, clock: Clock, signals: Signals
) -> Picture:
    """Read everything once. As many modules at a time as the conversation lets.

    Args:
        kind: which of the three pictures.
        modules: the workshop's map of this car; may be empty.
        talk, clock: of the link.
        signals: for the standard OBD data at the time.
    Raises: LinkError (link-lost). What a module does not give is an absence in the picture, not an error.
    """
    start_s = clock.now()
    responders = await find_responders(talk, modules)
    known = {m.address.place for m in modules.modules}
    strangers = [MappedModule(a) for a in responders if a.place not in known]
    told = await asyncio.gather(
        *(_module(talk, module, answers_obd=_in(responders, module)) for module in (*modules.modules, *strangers))
    )
    readings: tuple[Reading, ...] = ()
    if responders:
        readings = await signals.read(PICTURE_SIGNALS)
    notes = tuple(note for _, notes in told for note in notes)
    return Picture(kind, start_s, clock.now(), tuple(picture for picture, _ in told), readings, notes)


async def take_module_picture(address: ModuleAddress, modules: ModuleMap, talk: AsksEverybody) -> ModulePicture:
    """One module read once, in the default session: before and after a procedure.

    Raises: LinkError (link-lost). What it does not give is an absence, and a silent module one that did not respond.
    """
    picture, _ = await _module(talk, modules.at(address), answers_obd=False)
    return picture


async def find_responders(talk: AsksEverybody, modules: ModuleMap) -> tuple[ModuleAddress, ...]:
    """Modules that answer to the standard OBD request, named by the map where it knows them."""
    widths = (False, True) if modules.wide is None else (modules.wide,)
    for wide in widths:
        found = await talk.ask_everybody(b"\x01\x00", wide=wide)
        if found:
            return tuple(modules.at(address).address for address in sorted(found, key=lambda a: a.response_id))
    return ()


def _in(responders: tuple[ModuleAddress, ...], module: MappedModule) -> bool:
    return any(a.place == module.address.place for a in responders)


async def _module(
    talk: AsksEverybody, module: MappedModule, *, answers_obd: bool
) -> tuple[ModulePicture, tuple[Item, ...]]:
    address = module.address
    obd = await read_obd_part(talk, address) if answers_obd else ObdPart()
    wanted = tuple(dict.fromkeys(i.identifier for i in (*IDENTIFICATION, *module.coding, *module.learned)))
    found, silent = await _identifiers(talk, address, wanted)
    identification, coding, learned = (
        tuple(_item(mapped, found[mapped.identifier]) for mapped in part)
        for part in (IDENTIFICATION, module.coding, module.learned)
    )
    codes, codes_absence = await _codes(talk, address, obd, answers_obd=answers_obd, silent=silent)
    picture = ModulePicture(
        address,
        responded=answers_obd or not all(is_silence(data) for data in found.values()),
        identification=_told_apart(obd.identification, identification),
        coding=coding,
        learned=learned,
        codes=codes,
        codes_absence=codes_absence,
    )
    return picture, obd.notes


async def _identifiers(
    talk: AsksEverybody, address: ModuleAddress, wanted: tuple[int, ...]
) -> tuple[dict[int, Found], bool]:
    """Data by identifier in the module's language, and whether it keeps silent."""
    if talk.protocol is Protocol.KWP2000:
        kwp = KwpReader(talk, address)
        return await kwp.read(wanted), kwp.silent
    reader = IdentifierReader(talk, address, talk.pace_of(address))
    found = await reader.read(wanted)
    talk.remember(address, reader.pace)
    return found, reader.silent


async def _codes(
    talk: AsksEverybody, address: ModuleAddress, obd: ObdPart, *, answers_obd: bool, silent: bool
) -> tuple[tuple[TroubleCode, ...], Absence | None]:
    """Codes of both languages; a module that gives them in one of the two lacks nothing."""
    read = read_kwp_codes if talk.protocol is Protocol.KWP2000 else read_uds_codes
    by_uds = NO_ANSWER if silent else await read(talk, address)
    if not isinstance(by_uds, Absence):
        return _merged(obd.codes, by_uds), obd.codes_absence
    return obd.codes, obd.codes_absence if answers_obd else by_uds


def _item(mapped: MappedItem, found: Found) -> Item:
    if isinstance(found, Absence):
        return Item(mapped.key, mapped.name, absence=found)
    return item_from(mapped, found)


def _told_apart(obd: tuple[Item, ...], uds: tuple[Item, ...]) -> tuple[Item, ...]:
    """Both, in one list: a thing that both could give has the plain key where OBD gave it, else where UDS did.

    What only one of the ways does not support is not told twice.
    """
    by_uds = {item.key for item in uds}
    given = {item.key for item in obd if item.absence is None}
    first = [
        _renamed(i, "obd", "by OBD") if i.absence is not None and i.key in by_uds else i
        for i in obd
        if i.key not in by_uds or i.absence is None or i.absence.kind is not AbsenceKind.UNSUPPORTED
    ]
    return (*first, *(_renamed(i, "identifier", "by identifier") if i.key in given else i for i in uds))


def _renamed(item: Item, key: str, words: str) -> Item:
    return msgspec.structs.replace(item, key=f"{item.key}-by-{key}", name=f"{item.name} {words}")


def _merged(obd: tuple[TroubleCode, ...], uds: tuple[TroubleCode, ...]) -> tuple[TroubleCode, ...]:
    """One entry a code: the fuller one of UDS stands for the same code read by OBD; permanent ones stay their own."""
    told = {code.code for code in uds}
    return (*uds, *(code for code in obd if code.kind is CodeKind.PERMANENT or code.code not in told))
