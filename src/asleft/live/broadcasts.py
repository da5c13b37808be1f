"""Signals that modules broadcast on the bus, by a network description (DBC), through cantools (the extra ``data``).

Nothing is sent: frames go by and are read. Which broadcast is which of our signals stands in the workshop's map; the
description gives bits, scale, offset and unit::

    heard = BroadcastSignals(link, [BroadcastSignal("yaw-rate", "YawRate", "°/s", message="Chassis1")], Path("car.dbc"))
    stop = heard.begin()

Source: the DBC file format as cantools implements it.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import Any, cast

import msgspec

from asleft.model.errors import AsleftError, Code, InputError
from asleft.model.frame import CanFrame
from asleft.model.origin import Origin
from asleft.model.reading import Quality, Reading, Series, Signal, to_hex
from asleft.model.units import convert, convert_difference
from asleft.ports.bus import Link

Subscriber = Callable[[Reading], None]


class BroadcastSignal(msgspec.Struct, frozen=True):
    """Which signal of the description is one of ours.

    Attributes:
        signal: our id. name, message: as the description calls it and its frame.
        unit: of our readings; the description's unit is brought to it.
        accuracy: half-width of the sensor's own error, in ``unit``.
        description_unit: where the description's word for the unit is none of ours, what it means.
    """

    signal: str
    name: str
    unit: str
    message: str
    accuracy: float = 0.0
    description_unit: str = ""


class _Place(msgspec.Struct, frozen=True):
    wanted: BroadcastSignal
    unit: str
    resolution: float
    low: float
    high: float


class BroadcastSignals:
    """Readings of what is broadcast.

    Args: link: an open one. wanted: signals. description: DBC file.
    Raises: InputError: description-bad (the file or a name in it), unit-unknown, unit-mismatch.
    """

    def __init__(self, link: Link, wanted: Sequence[BroadcastSignal], description: Path) -> None:
        self._link = link
        self._messages: dict[tuple[int, bool], tuple[Any, list[_Place]]] = {}
        database = _database(description)
        for item in wanted:
            message, place = _find(database, item, description.name)
            key = (int(message.frame_id), bool(message.is_extended_frame))
            self._messages.setdefault(key, (message, []))[1].append(place)
        self._subscribers: list[Subscriber] = []
        self.broken = 0

    @property
    def origin(self) -> Origin:
        """The link's own."""
        return self._link.origin

    def catalogue(self) -> tuple[Signal, ...]:
        """The signals, with unit, range and resolution from the description."""
        return tuple(
            Signal(p.wanted.signal, p.wanted.name, p.wanted.unit, p.low, p.high, p.resolution, p.wanted.accuracy)
            for _, places in self._messages.values()
            for p in places
        )

    def subscribe(self, subscriber: Subscriber) -> Callable[[], None]:
        """See every reading from now on; returns the way to stop."""
        self._subscribers.append(subscriber)
        return lambda: self._subscribers.remove(subscriber) if subscriber in self._subscribers else None

    def begin(self) -> Callable[[], None]:
        """Listen from now on; returns the way to stop."""
        return self._link.listen(self._on_frame)

    def series_of(self, readings: Sequence[Reading]) -> tuple[Series, ...]:
        """Readings that were kept, as one series a signal, with resolution and accuracy."""
        return tuple(
            Series(
                s.id,
                s.unit,
                tuple(r.time_s for r in readings if r.signal == s.id),
                tuple(r.value for r in readings if r.signal == s.id and r.value is not None),
                s.resolution,
                s.accuracy,
            )
            for s in self.catalogue()
        )

    def _on_frame(self, frame: CanFrame) -> None:
        found = self._messages.get((frame.id, frame.extended))
        if found is None:
            return
        message, places = found
        try:
            values = cast("dict[str, Any]", message.decode(frame.data, decode_choices=False))
        except Exception:  # noqa: BLE001 - strangers' bytes: too short, or a multiplexer value that the description does not know: not a reading
            self.broken += 1
            return
        for place in places:
            raw = values.get(place.wanted.name)
            if raw is not None and math.isfinite(float(raw)):  # absent: another part of a multiplexed frame
                self._tell(_reading(place, float(raw), frame, self._link.origin))

    def _tell(self, reading: Reading) -> None:
        for subscriber in tuple(self._subscribers):
            subscriber(reading)


def description_faults(description: Path, wanted: Sequence[BroadcastSignal]) -> Iterator[tuple[int | None, InputError]]:
    """What of these signals a description does not have: index (None: the file itself) and why."""
    try:
        database = _database(description)
    except InputError as error:
        yield None, error
        return
    for n, item in enumerate(wanted):
        try:
            _find(database, item, description.name)
        except InputError as error:
            yield n, error


def _reading(place: _Place, raw: float, frame: CanFrame, origin: Origin) -> Reading:
    wanted = place.wanted
    value = convert(raw, place.unit, wanted.unit)
    u = math.hypot(place.resolution / math.sqrt(12.0), wanted.accuracy / math.sqrt(3.0))
    quality = Quality.GOOD if place.low <= value <= place.high else Quality.OUT_OF_RANGE
    time_s = frame.time_s or 0.0
    return Reading(wanted.signal, value, wanted.unit, u, time_s, origin, quality=quality, raw=to_hex(frame.data))


def _database(description: Path) -> Any:
    try:
        import cantools  # noqa: PLC0415 - late: an extra
    except ImportError as error:
        raise InputError(Code.DESCRIPTION_BAD, "reading a DBC needs the extra: pip install 'asleft[data]'") from error
    try:
        return cast("Any", cantools).database.load_file(str(description))
    except Exception as error:  # the library raises its own, and whatever parsing strangers' text brings
        raise InputError(
            Code.DESCRIPTION_BAD, f"not a network description: {str(error)[:200]}", str(description)
        ) from error


def _find(database: Any, item: BroadcastSignal, file: str) -> tuple[Any, _Place]:
    names = {str(m.name): m for m in database.messages}
    message = names.get(item.message)
    if message is None:
        raise InputError(
            Code.DESCRIPTION_BAD, f"no frame {item.message}; it has {', '.join(sorted(names))[:300]}", file
        )
    signals = {str(s.name): s for s in message.signals}
    signal = signals.get(item.name)
    if signal is None:
        detail = f"{item.message} has no {item.name}; it has {', '.join(sorted(signals))[:300]}"
        raise InputError(Code.DESCRIPTION_BAD, detail, file)
    unit = item.description_unit or str(signal.unit or "1")
    try:
        resolution = abs(convert_difference(float(signal.scale), unit, item.unit))
        low, high = (
            convert(float(end), unit, item.unit) if end is not None else far
            for end, far in ((signal.minimum, -math.inf), (signal.maximum, math.inf))
        )
    except AsleftError as error:
        raise InputError(error.code, f"{item.name} is in {unit}: say description_unit", file) from error
    return message, _Place(item, unit, resolution, *(sorted((low, high)) if low != high else (-math.inf, math.inf)))
