"""From a parameter's bytes to a Reading: value, uncertainty, time, quality, origin bytes. Acts on nothing.

Source: standard uncertainty of a step q is q/√12, of a half-width a is a/√3 (JCGM 100:2008, 4.3.7).
"""

from __future__ import annotations

import math

import msgspec

from asleft.codec.answer import AnswerMalformed
from asleft.codec.obd.current import read_parameter
from asleft.codec.obd.fields import Value
from asleft.model.origin import Origin
from asleft.model.reading import Absence, AbsenceKind, Quality, Reading, Signal, to_hex

from .asking import Taken
from .catalogue import CATALOGUE, NOISY
from .mapped import MappedSignal

#: A noisy signal that is the same to the bit for so long, over so many answers, may be frozen (TRADE 5.11).
_FROZEN_S = 10.0
_FROZEN_ANSWERS = 10

_LEFT_OUT = Absence(AbsenceKind.NOT_READ, "the module left it out of its answer")
_NOT_HERE = Absence(AbsenceKind.UNSUPPORTED, "the module says that there is none here")


class _Same(msgspec.Struct):
    value: float
    since_s: float
    answers: int = 1


class ReadingMaker:
    """Makes readings of one conversation and remembers what looks frozen.

    Args: origin: where the bytes come from.
    """

    def __init__(self, origin: Origin) -> None:
        self._origin = origin
        self._same: dict[str, _Same] = {}

    def make(self, name: str, key: int, taken: Taken, mapped: MappedSignal | None = None) -> Reading:
        """The reading of one signal in what a request brought.

        Args:
            name: signal.
            key: parameter, or identifier where ``mapped`` says how it reads.
            taken: the answer.
            mapped: how the module's own data read.
        """
        data = taken.parts.get(key)
        if taken.absence is not None or data is None:
            return self.absent(name, taken.time_s, taken.absence or _LEFT_OUT, taken.answer)
        try:
            value = _standard(name, key, data) if mapped is None else mapped.read(data)
        except AnswerMalformed as error:
            return self.absent(name, taken.time_s, Absence(AbsenceKind.NOT_READ, error.detail), taken.answer)
        if value is None:
            return self.absent(name, taken.time_s, _LEFT_OUT, taken.answer)
        if value.value is None:
            return self.absent(name, taken.time_s, _NOT_HERE, taken.answer)
        return self._present(CATALOGUE[name] if mapped is None else mapped.signal, value, value.value, taken)

    def absent(self, name: str, time_s: float, absence: Absence, answer: bytes = b"") -> Reading:
        """An absence with its reason."""
        unit = CATALOGUE[name].unit if name in CATALOGUE else "1"
        return Reading(name, None, unit, 0.0, time_s, self._origin, raw=to_hex(answer), absence=absence)

    def _present(self, signal: Signal, decoded: Value, value: float, taken: Taken) -> Reading:
        u = math.hypot(decoded.resolution / math.sqrt(12.0), signal.accuracy / math.sqrt(3.0))
        return Reading(
            signal.id,
            value,
            signal.unit,
            u,
            taken.time_s,
            self._origin,
            quality=self._quality(signal, value, taken.time_s),
            raw=to_hex(taken.answer),
        )

    def _quality(self, signal: Signal, value: float, time_s: float) -> Quality:
        if not signal.low <= value <= signal.high:
            return Quality.OUT_OF_RANGE
        if signal.id not in NOISY:
            return Quality.GOOD
        same = self._same.get(signal.id)
        if same is None or same.value != value or value == 0.0:
            self._same[signal.id] = _Same(value, time_s)
            return Quality.GOOD
        same.answers += 1
        frozen = time_s - same.since_s > _FROZEN_S and same.answers >= _FROZEN_ANSWERS
        return Quality.FROZEN if frozen else Quality.GOOD


def _standard(name: str, pid: int, data: bytes) -> Value | None:
    return next((value for value in read_parameter(pid, data) if value.signal == name), None)
