"""Entry conditions and interlocks over time: met, not met or not known, with the margin and the reason.

A watch is fed with readings and asked how its condition stands. It has no clock: every answer says for which time it
is given. A value that is old, refused or not believed is *not known*, never *met*; a hold is broken by what was not
seen as well as by what was out of limits.

Example::

    watch = ConditionWatch(Condition("warm", "coolant warm", ConditionKind.AT_LEAST, "coolant-temperature", low=65.0,
                                     unit="°C", hold_s=3.0))
    result = watch.update(reading)          # state, margin, how long it has held, why not
    result = watch.at(now_s)                # the same later: not known once the reading is too old
"""

from __future__ import annotations

import math

from asleft.model.condition import Condition, ConditionKind, ConditionResult, ConditionState
from asleft.model.errors import AsleftError, Code, RunError
from asleft.model.message import Message, say
from asleft.model.numbers import show, with_unit
from asleft.model.reading import AbsenceKind, Evidence, Quality, Reading
from asleft.model.units import convert

from .sliding import Sliding
from .wants import wants

_ABSENT = {
    AbsenceKind.UNSUPPORTED: "{name}: this car does not report it",
    AbsenceKind.REFUSED: "{name}: the module refused to report it",
    AbsenceKind.NOT_READ: "{name}: no reading came",
}
_DOUBTED = {
    Quality.STALE: "{name}: the reading is out of date",
    Quality.FROZEN: "{name}: the reading does not move any more",
    Quality.OUT_OF_RANGE: "{name}: the reading is outside what can be",
    Quality.SUSPECT: "{name}: the reading is not trusted",
}


class ConditionWatch:
    """One condition followed over time.

    Args:
        condition: what must hold.
        name: the signal's name in words; made from its id when empty.
    """

    def __init__(self, condition: Condition, name: str = "") -> None:
        self.condition = condition
        self.name = name or condition.signal.replace("-", " ") or condition.text
        self._recent = Sliding(condition.hold_s) if condition.kind in _OVER_TIME else None
        self._value: float | None = None
        self._measured: float | None = None
        self._time_s = -math.inf
        self._age_s = 0.0
        self._since_s: float | None = None
        self._out_since_s: float | None = None
        self._met = False
        self._unknown: Message | None = say("condition.not-read", _ABSENT[AbsenceKind.NOT_READ], name=self.name)
        self._declared: tuple[str, float] | None = None

    def update(self, reading: Reading) -> ConditionResult:
        """Take a reading and say how the condition stands at its time. One older than the last is not used.

        Raises: ValueError: the reading is of another signal.
        """
        if reading.signal != self.condition.signal:
            raise ValueError(f"{self.condition.id} watches {self.condition.signal}, not {reading.signal}")
        if reading.time_s >= self._time_s:
            self._take(reading)
        return self.at(max(reading.time_s, self._time_s))

    def declare(self, by: str, now_s: float) -> ConditionResult:
        """A person says that it holds, where no signal shows it.

        Raises: RunError (gate-closed): the condition is measured, and a word does not replace a measurement.
        """
        if self.condition.kind is not ConditionKind.DECLARED:
            raise RunError(Code.GATE_CLOSED, f"{self.condition.text} is measured, it cannot be declared")
        self._declared = (by, now_s)
        return self.at(now_s)

    def at(self, now_s: float) -> ConditionResult:
        """How the condition stands at ``now_s``, from what was seen so far. Changes nothing."""
        if self.condition.kind is ConditionKind.DECLARED:
            return self._as_declared(now_s)
        now_s = max(now_s, self._time_s)
        unknown = self._unknown or self._too_old(now_s)
        if unknown is not None:
            return self._result(ConditionState.NOT_KNOWN, now_s, reason=unknown)
        if self._recent is not None and self._measured is None:
            return self._result(ConditionState.NOT_KNOWN, now_s, reason=self._watching(self._recent))
        held_s = 0.0 if self._since_s is None else self._time_s - self._since_s
        state = ConditionState.MET if self._met else ConditionState.NOT_MET
        reason = None if self._met else self._why_not(held_s)
        return self._result(state, now_s, margin=self._margin(), held_s=held_s, reason=reason)

    def _take(self, reading: Reading) -> None:
        if reading.absence is not None and reading.absence.kind is AbsenceKind.NOT_READ and self._value is not None:
            return  # one that did not come is known by the age of the last that did
        seen_before_s, self._time_s = self._time_s, reading.time_s
        self._age_s = reading.age_s
        self._unknown = self._doubt(reading)
        if self._unknown is not None:
            self._lose()
            return
        if max(reading.time_s - seen_before_s, reading.age_s) > self.condition.max_age_s:
            self._lose()
        self._follow(reading)

    def _doubt(self, reading: Reading) -> Message | None:
        if reading.absence is not None:
            return say(f"condition.{reading.absence.kind}", _ABSENT[reading.absence.kind], name=self.name)
        if reading.quality is not Quality.GOOD:
            return say(f"condition.{reading.quality}", _DOUBTED[reading.quality], name=self.name)
        try:
            self._value = convert(reading.value or 0.0, reading.unit, self.condition.unit)
        except AsleftError:
            template = "{name} comes in {unit}, the condition is in {wanted}"
            return say("condition.unit", template, name=self.name, unit=reading.unit, wanted=self.condition.unit)
        return None

    def _follow(self, reading: Reading) -> None:
        """Go on from the reading: inside, outside, still waiting."""
        value = self._value or 0.0
        self._measured = self._over_time(self._recent, reading.time_s, value) if self._recent else value
        if self._margin() >= 0.0:
            self._out_since_s = None
            if self._since_s is None:
                self._since_s = reading.time_s
            needed_s = 0.0 if self._recent else self.condition.hold_s
            self._met = self._met or reading.time_s - self._since_s >= needed_s
            return
        if self._met and self._out_since_s is None:
            self._out_since_s = reading.time_s
        lasting_s = reading.time_s - (self._out_since_s or 0.0)
        if not self._met or self.condition.debounce_s <= 0.0 or lasting_s >= self.condition.debounce_s:
            self._met, self._since_s, self._out_since_s = False, None, None

    def _over_time(self, recent: Sliding, time_s: float, value: float) -> float | None:
        """What the last seconds show; None until they are all seen."""
        recent.add(time_s, value)
        if not recent.full:
            return None
        match self.condition.kind:
            case ConditionKind.SLOPE:
                return recent.slope()
            case ConditionKind.NO_STEP:
                return recent.largest_step()
            case _:
                return recent.deviation()

    def _lose(self) -> None:
        self._met, self._since_s, self._out_since_s, self._measured = False, None, None, None
        if self._recent:
            self._recent.forget()

    def _margin(self) -> float:
        """Distance to the nearest limit that applies now: the tight ones to enter, the loose ones while it holds."""
        c = self.condition
        if self._measured is None:
            return -math.inf
        low, high = c.low, c.high
        if self._met:
            low = c.leave_low if c.leave_low is not None and low is not None else low
            high = c.leave_high if c.leave_high is not None and high is not None else high
        below = math.inf if low is None or c.kind not in _LOW else self._measured - low
        above = math.inf if high is None or c.kind not in _HIGH else high - self._measured
        return min(below, above)

    def _too_old(self, now_s: float) -> Message | None:
        age_s = now_s - self._time_s + self._age_s
        if age_s <= self.condition.max_age_s:
            return None
        return say(
            "condition.stale",
            "{name}: the last reading is {age} old",
            name=self.name,
            age=show(age_s, "s", self.condition.max_age_s),
        )

    def _why_not(self, held_s: float) -> Message:
        c = self.condition
        if self._since_s is not None:
            template = "{name} {value}: has held for {held}, needs {hold}"
            return say("condition.holding", template, name=self.name, value=self._shown(), **_times(held_s, c.hold_s))
        template = _NOT_MET.get(c.kind, "{name} {value}, {needs}")
        return say("condition.not-met", template, name=self.name, value=self._shown(), needs=wants(c))

    def _watching(self, recent: Sliding) -> Message:
        template = "{name}: watched for {held}, needs {hold}"
        return say("condition.watching", template, name=self.name, **_times(recent.span_s, self.condition.hold_s))

    def _shown(self) -> str:
        limits = [x for x in (self.condition.low, self.condition.high) if x is not None]
        return show(self._measured or 0.0, self.condition.unit, *limits)

    def _as_declared(self, now_s: float) -> ConditionResult:
        if self._declared is None:
            reason = say(
                "condition.undeclared", "{text}: no signal shows it; look, and declare it", text=self.condition.text
            )
            return self._result(ConditionState.NOT_KNOWN, now_s, reason=reason)
        return self._result(ConditionState.MET, now_s, held_s=max(0.0, now_s - self._declared[1]))

    def _result(
        self,
        state: ConditionState,
        now_s: float,
        *,
        margin: float | None = None,
        held_s: float = 0.0,
        reason: Message | None = None,
    ) -> ConditionResult:
        c = self.condition
        return ConditionResult(
            condition=c.id,
            state=state,
            time_s=now_s,
            value=self._value,
            unit=c.unit,
            margin=margin if margin is not None and math.isfinite(margin) else None,
            held_s=held_s,
            evidence=Evidence.DECLARED if c.kind is ConditionKind.DECLARED else Evidence.MEASURED,
            reason=reason,
        )


_OVER_TIME = frozenset({ConditionKind.STEADY, ConditionKind.SLOPE, ConditionKind.NO_STEP})
_LOW = frozenset({ConditionKind.WITHIN, ConditionKind.AT_LEAST, ConditionKind.SLOPE})
_HIGH = _OVER_TIME | {ConditionKind.WITHIN, ConditionKind.AT_MOST}
_NOT_MET = {
    ConditionKind.STEADY: "{name} moves by {value}, {needs}",
    ConditionKind.SLOPE: "{name} changes by {value} a minute, {needs}",
    ConditionKind.NO_STEP: "{name} stepped by {value}, {needs}",
}


def _times(held_s: float, hold_s: float) -> dict[str, str]:
    return {"held": with_unit(f"{held_s:.0f}", "s"), "hold": with_unit(f"{hold_s:g}", "s")}
