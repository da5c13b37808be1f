"""What may be said at the end: of repeats the last counts, and a FAIL is never forgotten."""

from __future__ import annotations

import pytest

from asleft.event import body as b
from asleft.event.fold import JobState, RunState
from asleft.job.planning import statement
from asleft.model.message import say
from asleft.model.verdict import RunEnd, Verdict

PASS, FAIL, CANNOT_TELL = Verdict.PASS, Verdict.FAIL, Verdict.CANNOT_TELL


def run(number: int, verdict: Verdict, function: str = "module-coding") -> RunState:
    name = f"{function}-{number}"
    started = b.RunStarted(name, function, "p", function.replace("-", " "), "by-wire", "", "", ())
    ended = RunEnd.COMPLETED if verdict is not CANNOT_TELL else RunEnd.REFUSED
    return RunState(started, 0.0, end=ended, verdict=verdict, result=say("x", "x"))


@pytest.mark.parametrize(
    ("verdicts", "released"),
    [
        ((PASS,), True),
        ((CANNOT_TELL,), False),
        ((CANNOT_TELL, PASS), True),
        ((PASS, CANNOT_TELL), False),
        ((FAIL, PASS), False),
        ((CANNOT_TELL, CANNOT_TELL, PASS), True),
    ],
)
def test_of_repeats_the_last_counts_and_a_fail_always(verdicts: tuple[Verdict, ...], released: bool) -> None:
    runs = {f"r{n}": run(n, verdict) for n, verdict in enumerate(verdicts, 1)}
    said, free = statement(JobState(runs=runs))
    assert free is released
    assert ("Not proved: module coding" in said.text) is not released
