"""Signals from a network description (DBC): what modules broadcast, by our closed scalings, or why not.

Reading them off the bus is ``live.broadcasts``' work, with the same description; here they are named, their units are
brought to ours, and what our closed set does not hold is told. Source: the DBC format as cantools reads it.
"""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any, cast

import msgspec

from asleft.model.errors import Code, InputError
from asleft.model.step_more import CodedText, Scaling, ScalingKind
from asleft.model.units import UNITS

from .check_conditions import unit_meant

MAX_BYTES = 20_000_000


class DbcSignal(msgspec.Struct, frozen=True):
    """One signal of one frame.

    Attributes:
        id: ours, made from message and name. message, name: as the description calls them.
        frame: identifier of the frame; extended: 29 bits.
        scaling: how the bytes of the frame become the value. low, high: its range, None where not given.
    """

    id: str
    message: str
    name: str
    frame: int
    extended: bool
    scaling: Scaling
    low: float | None = None
    high: float | None = None

    @property
    def text(self) -> str:
        """One line."""
        frame = f"{self.frame:08X}" if self.extended else f"{self.frame:03X}"
        span = f", {self.low:g} to {self.high:g}" if self.low is not None and self.high is not None else ""
        told = f"{self.scaling.unit}, step {self.scaling.factor:g}{span}"
        words = ", ".join(one.text for one in self.scaling.texts)
        return f"{self.id}: {self.message}.{self.name}, frame {frame}, {words or told}"


class DbcSignals(msgspec.Struct, frozen=True):
    """Signals taken, and lines on those that are not."""

    file: str
    taken: tuple[DbcSignal, ...]
    refused: dict[str, str]


def read_dbc(path: Path) -> DbcSignals:
    """Signals of a description. Raises InputError: import-impossible, not readable."""
    taken: list[DbcSignal] = []
    refused: dict[str, str] = {}
    for message in _database(path).messages:
        for signal in message.signals:
            why = _beyond(message, signal)
            if why:
                refused[f"{message.name}.{signal.name}"] = why
            else:
                taken.append(_signal(message, signal))
    return DbcSignals(path.name, tuple(taken), refused)


def _beyond(message: Any, signal: Any) -> str:
    if message.is_multiplexed():
        return "its frame is multiplexed"
    if signal.is_float:
        return "a floating-point number on the bus"
    if signal.scale == 0:
        return "a factor of zero"
    if _place(signal) is None:
        return f"{signal.length} bit(s) over more than one byte, or signed bits"
    if _unit(signal) not in UNITS:
        return f"unit {signal.unit!r}"
    return ""


def _unit(signal: Any) -> str:
    shown = (signal.unit or "").strip()
    return (shown if shown in UNITS else unit_meant(shown)) if shown else "1"


def _signal(message: Any, signal: Any) -> DbcSignal:
    return DbcSignal(
        f"{_slug(message.name)}-{_slug(signal.name)}",
        message.name,
        signal.name,
        message.frame_id,
        message.is_extended_frame,
        _scaling(signal),
        None if signal.minimum is None else float(signal.minimum),
        None if signal.maximum is None else float(signal.maximum),
    )


def _scaling(signal: Any) -> Scaling:
    at, length, bit, bits = _place(signal) or (0, 0, 0, 0)
    choices = cast("dict[int, object]", signal.choices or {})
    texts = tuple(CodedText(int(value), str(words)) for value, words in sorted(choices.items()))
    return Scaling(
        ScalingKind.CODED if texts else ScalingKind.NUMBER,
        at,
        length,
        bit,
        bits,
        signal.is_signed,
        signal.byte_order == "big_endian",
        float(signal.scale),
        float(signal.offset),
        _unit(signal),
        texts,
    )


def _place(signal: Any) -> tuple[int, int, int, int] | None:
    """First byte, bytes, lowest bit, bits; None for bits over more than one byte. DBC counts from the byte's bit 0."""
    start, length, big = signal.start, signal.length, signal.byte_order == "big_endian"
    lowest = start % 8 - length + 1 if big else start % 8
    if lowest >= 0 and lowest + length <= 8 and length < 8 and not signal.is_signed:
        return start // 8, 0, lowest, length
    first = 7 if big else 0
    return (start // 8, length // 8, 0, 0) if start % 8 == first and length % 8 == 0 else None


def _slug(name: str) -> str:
    parted = re.sub(r"(?<=[a-z0-9])(?=[A-Z])", "-", name)
    return re.sub(r"[^a-z0-9]+", "-", parted.casefold()).strip("-")


def _database(path: Path) -> Any:
    try:
        import cantools  # noqa: PLC0415 - an extra
    except ImportError:
        raise InputError(Code.IMPORT_IMPOSSIBLE, "cantools is not installed (the extra data)", str(path)) from None
    try:
        if path.stat().st_size > MAX_BYTES:
            raise InputError(Code.IMPORT_IMPOSSIBLE, f"more than {MAX_BYTES} bytes", str(path))
        text = path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise InputError(Code.IMPORT_IMPOSSIBLE, f"not readable ({error})", str(path)) from None
    try:
        return cast("Any", cantools).database.load_string(text, database_format="dbc")
    except Exception as error:  # noqa: BLE001 - a description can be wrong in any way its library does not foresee
        raise InputError(Code.IMPORT_IMPOSSIBLE, f"not readable as DBC ({error})", str(path)) from None
