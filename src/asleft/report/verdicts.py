"""What a run may claim: never more than its own criteria. Pure."""

from __future__ import annotations

from typing import NamedTuple

from asleft.event.body import RunStarted
from asleft.model.verdict import RunEnd, Verdict, overall
from asleft.model.work import Grade, Need

from .parts import Cell, Events
from .phrases import verdict_cell
from .traced import Traced
from .words import Words

_WORSE = (Verdict.PASS, Verdict.CANNOT_TELL, Verdict.FAIL)


class Outcome(NamedTuple):
    """How one run stands.

    Attributes:
        started: the run; attempt: which of those for the same function, of how many.
        end, stated: as the record says; verdict: the worse of stated and what the criteria give; None: not ended.
        sentence: what the record says at its end; events: where from.
        counts: whether the job's result depends on it: a function that is called for, or one that was judged; the
            clear and the key cycles at the end ask for no proof.
    """

    started: RunStarted
    attempt: int
    attempts: int
    end: RunEnd | None
    stated: Verdict | None
    verdict: Verdict | None
    sentence: str
    events: Events
    counts: bool

    @property
    def contradicts(self) -> bool:
        """Whether the record's verdict is better than its own criteria allow."""
        return self.counts and self.stated is not self.verdict


def outcomes(record: Traced, w: Words) -> list[Outcome]:
    """Every run of the job in order, all attempts."""
    functions = [started.function for _, started in record.runs]
    needed = {n.function for n in record.state.needs if n.grade is not Grade.NOT_NEEDED}
    found: list[Outcome] = []
    for place, (event, started) in enumerate(record.runs):
        attempt = functions[: place + 1].count(started.function)
        numbers, ended = record.ended(started.run)
        judged = record.judged(started.run)
        events = (event.sequence, *(n for ns, _ in judged for n in ns), *numbers)
        computed = overall(tuple(j for _, j in judged))
        verdict = max(computed, ended.verdict or computed, key=_WORSE.index) if ended else None
        if ended and ended.end is not RunEnd.COMPLETED and verdict is Verdict.PASS:
            verdict = Verdict.CANNOT_TELL
        sentence = w.said(ended.message) if ended else w("under-way.note")
        asks = ended is None or ended.verdict is not None or bool(judged)
        counts = bool(judged) or verdict is Verdict.FAIL or started.function in needed or (asks and not needed)
        found.append(
            Outcome(
                started,
                attempt,
                functions.count(started.function),
                ended.end if ended else None,
                ended.verdict if ended else None,
                verdict,
                sentence,
                events,
                counts,
            )
        )
    return found


def outcome_cell(outcome: Outcome, w: Words) -> Cell:
    """The verdict of a run, how it ended where there is nothing to prove, or that it is under way."""
    if outcome.verdict is None or outcome.end is None:
        return Cell(w("under-way"), "open")
    if not outcome.counts:
        done = outcome.end is RunEnd.COMPLETED
        return Cell(w("run.not-proved", end=w(f"end.{outcome.end.value}")), "" if done else "open")
    return verdict_cell(outcome.verdict)


def not_run(record: Traced) -> list[Need]:
    """Functions called for (required or advisable) that no run was begun for."""
    begun = {started.function for _, started in record.runs}
    return [n for n in record.state.needs if n.grade is not Grade.NOT_NEEDED and n.function not in begun]


def result_word(record: Traced, found: list[Outcome]) -> tuple[str, str]:
    """Word id and mark of the job's result: the last attempt of each function counts, the worst of them decides."""
    last = [o for o in found if o.attempt == o.attempts and o.counts]
    if not last:
        return "result.none", "open"
    verdicts = {o.verdict for o in last}
    if Verdict.FAIL in verdicts:
        return "result.fail", "fail"
    if None in verdicts:
        return "result.under-way", "open"
    if Verdict.CANNOT_TELL in verdicts:
        return "result.cannot-tell", "cannot-tell"
    if any(n.grade is Grade.REQUIRED for n in not_run(record)):
        return "result.required-missing", "open"
    return "result.pass", "pass"
