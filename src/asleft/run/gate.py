"""Entry conditions and interlocks: measured, shown with their margin, waited for; never clicked away."""

from __future__ import annotations

from collections.abc import Iterable

import msgspec

from asleft.event import body as b
from asleft.model.condition import Condition, ConditionKind, ConditionResult, ConditionState
from asleft.model.errors import Code, RunError
from asleft.model.message import say
from asleft.model.question import QuestionKind
from asleft.model.reading import Reading
from asleft.proof.conditions import ConditionWatch

from .asking import confirm
from .log import RunLog

#: Between two looks at the conditions while the gate waits, s.
EVERY_S = 1.0
#: The record gets the conditions when one changes its state, and at least this often while waiting, s.
RECORD_EVERY_S = 30.0


class Gate:
    """Watches a set of conditions through the Signals port."""

    def __init__(self, log: RunLog, conditions: Iterable[Condition]) -> None:
        self._log = log
        self.conditions = tuple(conditions)
        self._watches = {c.id: ConditionWatch(c) for c in self.conditions}
        self.signals = tuple(dict.fromkeys(c.signal for c in self.conditions if c.signal))
        self._seen: tuple[ConditionState, ...] = ()
        self._seen_s = float("-inf")

    @classmethod
    def locks(cls, log: RunLog, conditions: Iterable[Condition]) -> Gate:
        """Interlocks: the same conditions, at once instead of after a hold, at their looser limits where given."""
        return cls(log, (_loose(c) for c in conditions))

    def without(self, suspended: tuple[str, ...]) -> Gate:
        """The same interlocks but those that the step in hand itself breaks."""
        return Gate(self._log, (c for c in self.conditions if c.id not in suspended)) if suspended else self

    async def declare(self) -> None:
        """Ask for every condition that no signal shows; the answers are recorded as declared."""
        for condition in self.conditions:
            if condition.kind is not ConditionKind.DECLARED:
                continue
            answer = await confirm(
                self._log,
                say("condition.declare", "{text}", text=condition.text),
                kind=QuestionKind.DECLARE,
                yes="it is so",
            )
            self._watches[condition.id].declare(answer.by, self._log.ports.clock.now())

    def feed(self, reading: Reading) -> None:
        """A reading taken by somebody else, for instance while a series is recorded."""
        for condition in self.conditions:
            if condition.signal == reading.signal:
                self._watches[condition.id].update(reading)

    async def look(self) -> tuple[ConditionResult, ...]:
        """Read all signals once and judge."""
        for reading in await self._log.ports.signals.read(self.signals) if self.signals else ():
            self.feed(reading)
        return self.results()

    def results(self) -> tuple[ConditionResult, ...]:
        """How the conditions stand now."""
        now = self._log.ports.clock.now()
        return tuple(self._watches[c.id].at(now) for c in self.conditions)

    async def open(self, timeout_s: float) -> None:
        """Wait until all conditions hold.

        Raises: RunError: gate-closed after ``timeout_s`` (s), naming what does not hold; stopped-by-person.
        """
        clock = self._log.ports.clock
        until = clock.now() + timeout_s
        while True:
            results = await self.look()
            missing = [r for r in results if r.state is not ConditionState.MET]
            self.note(results, "closed" if missing else "open")
            if not missing:
                return
            if self._log.ports.person.wants_stop:
                raise RunError(Code.STOPPED_BY_PERSON)
            if clock.now() >= until:
                raise RunError(Code.GATE_CLOSED, "; ".join(self._why(r) for r in missing))
            await clock.sleep_until(clock.now() + EVERY_S)

    def broken(self) -> ConditionResult | None:
        """The first interlock that no longer holds; one that is not known counts as broken."""
        return next((r for r in self.results() if r.state is not ConditionState.MET), None)

    def lost(self, signal: str) -> bool:
        """Whether a condition on this signal does not hold at its latest reading."""
        now = self._log.ports.clock.now()
        states = (self._watches[c.id].at(now).state for c in self.conditions if c.signal == signal)
        return any(state is ConditionState.NOT_MET for state in states)

    def check(self) -> None:
        """Raise RunError (interlock-broken, stopped-by-person) when a condition is lost or stop was said."""
        if self._log.ports.person.wants_stop:
            raise RunError(Code.STOPPED_BY_PERSON)
        lost = self.broken()
        if lost is not None:
            self.note(self.results(), "watched")
            raise RunError(Code.INTERLOCK_BROKEN, self._why(lost))

    def note(self, results: tuple[ConditionResult, ...], gate: str) -> None:
        """Show the conditions, and write them down when one changed its state or it has been long."""
        now = self._log.ports.clock.now()
        self._log.ports.show("conditions", {"run": self._log.run, "gate": gate, "results": results})
        states = tuple(r.state for r in results)
        if states != self._seen or now - self._seen_s >= RECORD_EVERY_S:
            self._seen, self._seen_s = states, now
            self._log.write(b.ConditionsSeen(self._log.run, results, gate))

    def _why(self, result: ConditionResult) -> str:
        text = next(c.text for c in self.conditions if c.id == result.condition)
        return result.reason.text if result.reason else text


def _loose(condition: Condition) -> Condition:
    low = condition.low if condition.leave_low is None else condition.leave_low
    high = condition.high if condition.leave_high is None else condition.leave_high
    return msgspec.structs.replace(condition, hold_s=0.0, low=low, high=high)
