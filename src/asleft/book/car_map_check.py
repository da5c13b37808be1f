"""What of a car map cannot be: addresses, identifiers, units, signals said twice, descriptions that lack a name."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator
from pathlib import Path as FilePath

from asleft.live.broadcasts import BroadcastSignal, description_faults
from asleft.live.catalogue import CATALOGUE
from asleft.model.errors import InputError
from asleft.model.own_signals import OWN_SIGNALS
from asleft.model.reading import Signal
from asleft.model.step_more import Base
from asleft.model.units import UNITS
from asleft.talk.modules import Form

from .car_map_form import Broadcasts, CarMapFile, ItemLine, ModuleLine, SignalLine
from .printed import two_bytes
from .remark import Complaint, Path, nearest
from .signal_units import SIGNAL_UNITS

#: Of a module's own data nobody has said what cannot be.
_ANY = 1e9
_HEX = re.compile(r"[0-9A-Fa-f]{1,8}")
_MOST = {False: 0x7FF, True: 0x1FFFFFFF}


def identifier(text: str, printed: Base) -> int:
    """A checked line's identifier as a number."""
    return two_bytes(text, printed)


def signal_of(
    name: str, low: float | None = None, high: float | None = None, resolution: float = 0.0, accuracy: float = 0.0
) -> Signal:
    """A known signal with what a map says of it."""
    known = CATALOGUE.get(name)
    words = known.name if known else OWN_SIGNALS[name][1]
    least, most = (known.low, known.high) if known else (-_ANY, _ANY)
    bottom, top = least if low is None else low, most if high is None else high
    return Signal(name, words, SIGNAL_UNITS[name], bottom, top, resolution, accuracy)


def faults_of(file: CarMapFile, folder: FilePath) -> Iterator[Complaint]:
    """Everything that is wrong in a file whose form is right."""
    names: dict[str, int] = {}
    carried: dict[str, str] = {}
    for n, module in enumerate(file.modules):
        place: Path = ("modules", n)
        if module.name in names:
            why = f'"{module.name}" stands twice'
            yield Complaint((*place, "name"), "car-map", why, "one entry a module")
        names[module.name] = n
        yield from _address(module, place)
        for part in ("coding", "learned"):
            for m, item in enumerate(getattr(module, part)):
                yield from _item(item, (*place, part, m))
        for m, one in enumerate(module.signals):
            here: Path = (*place, "signals", m)
            yield from _once(one.signal, f"the module {module.name}", carried, here)
            yield from _signal(one, here)
    if file.broadcasts is not None:
        yield from _broadcasts(file.broadcasts, folder, carried)


def _address(module: ModuleLine, place: Path) -> Iterator[Complaint]:
    frames = {"request": module.request, "response": module.response}
    if module.address:
        if any(frames.values()) or not _HEX.fullmatch(module.address) or int(module.address, 16) > 0xFFFF:
            why = "an address stands alone, hexadecimal, one or two bytes"
            yield Complaint((*place, "address"), "car-map", why, 'address: "11", or request and response')
        return
    for name, text in frames.items():
        if not _HEX.fullmatch(text) or int(text, 16) > _MOST[module.wide]:
            bits = 29 if module.wide else 11
            why = f'"{text}" is no frame identifier of {bits} bits'
            yield Complaint((*place, name), "car-map", why, f'{name}: "7E0", hexadecimal; wide: true for 29 bits')
    if module.request and module.request == module.response and not module.request_byte:
        yield Complaint((*place, "response"), "car-map", "it would answer itself", "the other identifier")
    for name in ("request_byte", "response_byte"):
        text = getattr(module, name)
        if text and (not _HEX.fullmatch(text) or int(text, 16) > 0xFF):
            yield Complaint((*place, name.replace("_", "-")), "car-map", f'"{text}" is no byte', '"F1"')


def _item(item: ItemLine, place: Path) -> Iterator[Complaint]:
    most = 8 if item.form is Form.NUMBER else 4095
    yield from _bytes(item.identifier, item.printed, item.start, item.length, place, most)
    yield from _scale(item.scale, item.offset, place)
    if item.unit and item.unit not in UNITS:
        near = nearest(item.unit, tuple(UNITS)) or "a unit of the docs"
        yield Complaint((*place, "unit"), "car-map", f'"{item.unit}" is no unit', near)


def _signal(line: SignalLine, place: Path) -> Iterator[Complaint]:
    yield from _bytes(line.identifier, line.printed, line.start, line.length, place)
    yield from _scale(line.scale, line.offset, place)
    if not (math.isfinite(line.accuracy) and line.accuracy >= 0):
        yield Complaint((*place, "accuracy"), "car-map", "an error has no sign", "its half-width, 0 or more")
    if line.low is not None and line.high is not None and line.low >= line.high:
        yield Complaint((*place, "low"), "car-map", "low is not below high", "low, then high")


def _bytes(text: str, printed: Base, start: int, length: int | None, place: Path, most: int = 8) -> Iterator[Complaint]:
    try:
        two_bytes(text, printed)
    except InputError as error:
        yield Complaint((*place, "identifier"), "car-map", error.detail, "as the source prints it, with its form")
    if not 0 <= start < 4096 or (length is not None and not 1 <= length <= most):
        why = f"bytes {start} and {length} more cannot be a value"
        yield Complaint((*place, "start"), "car-map", why, f"start from 0, length 1 to {most}")


def _scale(scale: float, offset: float, place: Path) -> Iterator[Complaint]:
    if not (math.isfinite(scale) and math.isfinite(offset)) or scale == 0.0:
        yield Complaint((*place, "scale"), "car-map", f"a scale of {scale} shows nothing", "one step of the value")


def _once(signal: str, by: str, carried: dict[str, str], place: Path) -> Iterator[Complaint]:
    if signal not in SIGNAL_UNITS:
        near = nearest(signal, tuple(SIGNAL_UNITS)) or "a signal of the docs"
        yield Complaint((*place, "signal"), "car-map", f'there is no signal "{signal}"', near)
    elif signal in carried:
        why = f"{signal} comes from {carried[signal]} already"
        yield Complaint((*place, "signal"), "car-map", why, "one source a signal")
    carried.setdefault(signal, by)


def _broadcasts(told: Broadcasts, folder: FilePath, carried: dict[str, str]) -> Iterator[Complaint]:
    place: Path = ("broadcasts", "description")
    name = told.description
    if FilePath(name).name != name:
        yield Complaint(place, "car-map", f'"{name}" leads elsewhere', "the name of a file beside the map")
        return
    wanted: list[tuple[Path, BroadcastSignal]] = []
    for n, line in enumerate(told.signals):
        here: Path = ("broadcasts", "signals", n)
        said = list(_once(line.signal, "a broadcast", carried, here))
        yield from said
        if not said:
            unit = SIGNAL_UNITS[line.signal]
            one = BroadcastSignal(line.signal, line.name, unit, line.frame, line.accuracy, line.description_unit)
            wanted.append((here, one))
    for n, error in description_faults(folder / name, [one for _, one in wanted]):
        where = place if n is None else (*wanted[n][0], "name")
        yield Complaint(where, "car-map", error.detail, f"as {name} has it")
