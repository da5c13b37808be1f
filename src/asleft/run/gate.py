"""Entry conditions and interlocks: measured, shown with their margin, waited for; never clicked away."""

from __future__ import annotations

from collections.abc import Iterable

import msgspec

from asleft.event import body as b
from asleft.model.condition import Condition, ConditionKind, ConditionResult, ConditionState
from asleft.model.errors import Code, RunError
from asleft.model.message import say
from asleft.model.question import Question, QuestionKind
from asleft.model.reading import Reading
from asleft.proof.conditions import ConditionWatch

from .asking import STOP, ask
from .log import RunLog

#: Between two looks at the conditions while the gate waits, s.
EVERY_S = 1.0
#: What may be waived is offered after so long, s: most conditions come by themselves.
OFFER_S = 10.0
WAIVE = "go on without it"
#: The record gets the conditions when one changes its state, and at least this often while waiting, s.
RECORD_EVERY_S = 30.0


class NotKnownError(RunError):
    """Nothing is known any more of what must hold: what shows it fell silent."""


class Gate:
    """Watches a set of conditions through the Signals port.

    Args: waivable: those that a named person may let be, with a reason (TRADE 2.12: risk 2 and below only).

    Attributes: waived: those that somebody let be.
    """

    def __init__(self, log: RunLog, conditions: Iterable[Condition], waivable: frozenset[str] = frozenset()) -> None:
        self._log = log
        self.waivable = waivable
        self.waived: set[str] = set()
        self.conditions = tuple(conditions)
        self._watches = {c.id: ConditionWatch(c) for c in self.conditions}
        self.signals = tuple(dict.fromkeys(c.signal for c in self.conditions if c.signal))
        self._seen: tuple[ConditionState, ...] = ()
        self._seen_s = float("-inf")

    @classmethod
    def locks(cls, log: RunLog, conditions: Iterable[Condition]) -> Gate:
        """Interlocks: the same conditions, at once instead of after a hold, at their looser limits where given."""
        return cls(log, (_loose(c) for c in conditions))

    @property
    def worst_age_s(self) -> float:
        """How old the sample behind an answer of these conditions may at most be, s: what the conditions ask for."""
        return max((c.max_age_s for c in self.conditions if c.signal), default=0.0)

    def without(self, suspended: tuple[str, ...]) -> Gate:
        """The same interlocks but those that the step in hand itself breaks."""
        if not suspended:
            return self
        rest = Gate(self._log, (c for c in self.conditions if c.id not in suspended))
        rest.waived = self.waived
        return rest

    async def declare(self) -> None:
        """Ask for every condition that no signal shows; the answers are recorded as declared."""
        for condition in self.conditions:
            if condition.kind is not ConditionKind.DECLARED:
                continue
            choices = ("it is so", WAIVE, STOP) if condition.id in self.waivable else ("it is so", STOP)
            message = say("condition.declare", "{text}", text=condition.text)
            answer = await ask(self._log, Question(self._log.number("q"), QuestionKind.DECLARE, message, choices))
            if answer.text == WAIVE:
                await self._waive(condition)
            else:
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
        until, begun = clock.now() + timeout_s, clock.now()
        offered = False
        while True:
            results = await self.look()
            missing = [r for r in results if r.state is not ConditionState.MET and r.condition not in self.waived]
            self.note(results, "closed" if missing else "open")
            if not missing:
                return
            if self._log.ports.person.wants_stop:
                raise RunError(Code.STOPPED_BY_PERSON)
            if clock.now() >= until:
                raise _lost(Code.GATE_CLOSED, missing, "; ".join(self._why(r) for r in missing))
            if not offered and clock.now() - begun >= OFFER_S and {r.condition for r in missing} <= self.waivable:
                offered = True
                await self._offer(missing)
                continue
            await clock.sleep_until(clock.now() + EVERY_S)

    async def _offer(self, missing: list[ConditionResult]) -> None:
        """What is missing may be waived: ask once whether to wait on or to go on without."""
        why = "; ".join(self._why(r) for r in missing)
        message = say("condition.offer", "{why}. This may be let be by a named person with a reason.", why=why)
        answer = await ask(
            self._log, Question(self._log.number("q"), QuestionKind.CHOOSE, message, ("wait on", WAIVE, STOP))
        )
        if answer.text == WAIVE:
            for result in missing:
                await self._waive(next(c for c in self.conditions if c.id == result.condition))

    async def _waive(self, condition: Condition) -> None:
        """Take the reason; without one nothing is waived."""
        text = "Going on without: {text}. Type why; it stands in the record with your name."
        while True:
            message = say("condition.waive", text, text=condition.text)
            answer = await ask(self._log, Question(self._log.number("q"), QuestionKind.TYPE, message, (STOP,)))
            if reason := answer.text.strip():
                break
        self.waived.add(condition.id)
        self._log.write(b.ConditionWaived(self._log.run, condition.id, answer.by, reason), actor=answer.by)

    def broken(self) -> ConditionResult | None:
        """The first interlock that no longer holds; one that is not known counts as broken, one waived never does."""
        results = (r for r in self.results() if r.condition not in self.waived)
        return next((r for r in results if r.state is not ConditionState.MET), None)

    def lost(self, signal: str) -> bool:
        """Whether a condition on this signal does not hold at its latest reading."""
        now = self._log.ports.clock.now()
        named = (c for c in self.conditions if c.signal == signal and c.id not in self.waived)
        states = (self._watches[c.id].at(now).state for c in named)
        return any(state is ConditionState.NOT_MET for state in states)

    def check(self) -> None:
        """Raise RunError (interlock-broken, stopped-by-person) when a condition is lost or stop was said."""
        if self._log.ports.person.wants_stop:
            raise RunError(Code.STOPPED_BY_PERSON)
        lost = self.broken()
        if lost is not None:
            self.note(self.results(), "watched")
            raise _lost(Code.INTERLOCK_BROKEN, [lost], self._why(lost))

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


def _lost(code: Code, results: list[ConditionResult], why: str) -> RunError:
    silent = all(result.state is ConditionState.NOT_KNOWN for result in results)
    return (NotKnownError if silent else RunError)(code, why)


def _loose(condition: Condition) -> Condition:
    low = condition.low if condition.leave_low is None else condition.leave_low
    high = condition.high if condition.leave_high is None else condition.leave_high
    return msgspec.structs.replace(condition, hold_s=0.0, low=low, high=high)
