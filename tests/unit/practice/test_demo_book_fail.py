"""Failing runs of the demo book: the right verdict, by what, and the true cause named; the record alone says it all."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from asleft.book.loader import read_procedure
from asleft.event import body as b
from asleft.event.fold import RunState
from asleft.model.origin import Origin
from asleft.model.reading import Series
from asleft.model.verdict import Rule, RunEnd, Verdict
from asleft.practice.demo_book import Played, play
from asleft.practice.demo_book_all import PLAYS
from asleft.practice.demo_book_fail import FAILS
from asleft.proof.criteria import judge
from asleft.proof.criterion_data import CodeAbsent

#: Played in the short tests too: a refusal, a gate that stays closed, a proof that fails; each under 1.5 s.
QUICK = {
    ("pedal-rest-learn-aldra", "foot-on"),
}
EACH = [(name, how) for name, fails in FAILS.items() for how in fails]


def param(name: str, how: str) -> Any:
    return pytest.param(name, how, marks=() if (name, how) in QUICK else pytest.mark.full)


def test_each_has_five_that_differ() -> None:
    assert {name: set(PLAYS[name].fails) for name in FAILS} == {name: set(fails) for name, fails in FAILS.items()}
    assert all(len(fails) == 5 for fails in FAILS.values())


def test_a_failing_run_changes_the_car_or_the_person_and_nothing_else() -> None:
    for name, how in EACH:
        failing = PLAYS[name].fails[how]
        assert failing.after or failing.instead or failing.answers or failing.options, f"{name} {how}"
        assert failing.verdict is not Verdict.PASS


def test_the_true_cause_is_one_that_the_procedure_lists() -> None:
    for name, how in EACH:
        path = Path(__file__).parents[3] / "src" / "asleft" / "book" / "data" / f"{name}.yaml"
        procedure = read_procedure(path.read_bytes(), name).procedure
        assert any(FAILS[name][how].cause in c.causes for c in procedure.causes), f"{name} {how}"


def judged_again(played: Played, run: RunState) -> dict[str, Verdict]:
    """Verdicts from the record's own samples and the procedure's text in it, by nothing else."""
    criteria = read_procedure(run.started.text.encode(), run.started.procedure).procedure.criteria
    samples: dict[str, tuple[Series, ...]] = {
        e.body.name: e.body.series
        for e in played.events
        if isinstance(e.body, b.SamplesTaken) and e.body.run == run.started.run
    }
    named = {j.criterion for j in run.judgements}
    return {c.id: judge(c, samples).verdict for c in criteria if c.id in named and not isinstance(c, CodeAbsent)}


@pytest.mark.parametrize(("name", "how"), [param(*one) for one in EACH])
def test_it_fails_for_what_is_wrong(tmp_path: Path, name: str, how: str) -> None:
    wanted = FAILS[name][how]
    played = play(PLAYS[name], tmp_path, fail=how)
    run = played.run
    assert run is not None
    assert played.verdict is PLAYS[name].fails[how].verdict
    assert run.end is wanted.end
    assert run.result is not None
    assert wanted.says in run.result.text
    not_passed = {
        j.criterion for j in run.judgements if j.verdict is not Verdict.PASS and j.rule is not Rule.REPORT_ONLY
    }
    assert not_passed == set(wanted.criteria)
    causes = [cause for named in run.causes for cause in named.causes]
    assert wanted.cause in causes
    assert {e.origin for e in played.events} == {Origin.BENCH}
    again = judged_again(played, run)
    assert again == {j.criterion: j.verdict for j in run.judgements if j.criterion in again}
    assert (not again) == (run.end is not RunEnd.COMPLETED)
    assert not played.state.unsettled
