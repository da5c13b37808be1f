"""Shapes of the quantities inside an OBD parameter: linear ones and coded ones. The table itself is ``parameters``."""

from __future__ import annotations

import msgspec

from asleft.model.reading import Signal


class Value(msgspec.Struct, frozen=True):
    """One decoded quantity.

    Attributes:
        signal: slug of the signal.
        value: in ``unit``; None when the module says that there is none here.
        unit: symbol of ``model.units``.
        resolution: smallest step, in ``unit``.
        raw: the bytes it was taken from.
        word: meaning of a coded value, else empty.
    """

    signal: str
    value: float | None
    unit: str
    resolution: float
    raw: bytes
    word: str = ""


class Linear(msgspec.Struct, frozen=True):
    """``value = raw * mul / div + offset``, raw big-endian.

    Attributes:
        signal, name, unit: of the quantity.
        start, size: bytes it takes in the parameter's data.
        mul, div, offset: the formula; resolution is mul/div.
        signed: raw is two's complement.
        support: bit of the first data byte that says whether the quantity is there; None: always.
        unused: raw value that says "not used here".
    """

    signal: str
    name: str
    unit: str
    start: int = 0
    size: int = 1
    mul: int = 1
    div: int = 1
    offset: int = 0
    signed: bool = False
    support: int | None = None
    unused: int | None = None

    @property
    def resolution(self) -> float:
        """Smallest step, in ``unit``."""
        return self.mul / self.div

    @property
    def low(self) -> float:
        """Smallest value that the bytes can carry."""
        raw = -(1 << (8 * self.size - 1)) if self.signed else 0
        return raw * self.mul / self.div + self.offset

    @property
    def high(self) -> float:
        """Largest value that the bytes can carry."""
        raw = (1 << (8 * self.size - self.signed)) - 1
        return raw * self.mul / self.div + self.offset

    def read(self, data: bytes) -> Value:
        """The quantity in the parameter's data bytes (of the right length)."""
        part = data[self.start : self.start + self.size]
        raw = int.from_bytes(part, "big", signed=self.signed)
        there = self.support is None or bool(data[0] >> self.support & 1)
        value = raw * self.mul / self.div + self.offset if there and raw != self.unused else None
        return Value(self.signal, value, self.unit, self.resolution, part)

    def write(self, value: float) -> bytes:
        """Bytes that come nearest to ``value``: the way back, for tests and replays.

        Raises: ValueError: the value does not fit.
        """
        raw = round((value - self.offset) * self.div / self.mul)
        try:
            return raw.to_bytes(self.size, "big", signed=self.signed)
        except OverflowError:
            raise ValueError(f"{self.signal}: {value} {self.unit} does not fit") from None

    def as_signal(self) -> Signal:
        """The quantity as a signal of the model."""
        return Signal(self.signal, self.name, self.unit, self.low, self.high, self.resolution)


class Coded(msgspec.Struct, frozen=True):
    """A number that stands for a word; unknown numbers keep their number and say so.

    Attributes:
        signal, name: of the quantity; its unit is 1.
        words: number to word.
        start: byte in the parameter's data.
        shift, mask: bits of it.
        support: bit of the first data byte that says whether it is there.
    """

    signal: str
    name: str
    words: dict[int, str]
    start: int = 0
    shift: int = 0
    mask: int = 0xFF
    support: int | None = None

    def read(self, data: bytes) -> Value:
        """The number and its word."""
        part = data[self.start : self.start + 1]
        raw = data[self.start] >> self.shift & self.mask
        if self.support is not None and not data[0] >> self.support & 1:
            return Value(self.signal, None, "1", 1.0, part)
        return Value(self.signal, float(raw), "1", 1.0, part, self.words.get(raw, f"reserved ({raw})"))

    def as_signal(self) -> Signal:
        """The quantity as a signal of the model."""
        return Signal(self.signal, self.name, "1", 0.0, float(self.mask), 1.0)


Field = Linear | Coded


class Parameter(msgspec.Struct, frozen=True):
    """One parameter of services 01 and 02.

    Attributes:
        pid: its identifier.
        length: data bytes.
        fields: quantities inside; empty where another reader knows them (readiness, support, trouble code).
        alone: asked alone, because editions of the standard differ in its length.
    """

    pid: int
    length: int
    fields: tuple[Field, ...] = ()
    alone: bool = False
