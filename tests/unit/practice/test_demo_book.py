"""The demo book: each procedure passes on its bench car, fails for real reasons; the record alone says the same."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path
from typing import Any

import pytest

from asleft.book.loader import read_procedure
from asleft.book.procedure import Way
from asleft.event import body as b
from asleft.event.fold import RunState
from asleft.model.origin import Origin
from asleft.model.reading import Series
from asleft.model.verdict import Verdict
from asleft.practice.demo_book import Played, play
from asleft.practice.demo_book_all import PLAYS
from asleft.practice.demo_book_fail import FAILS
from asleft.proof.criteria import judge
from asleft.proof.criterion_data import CodeAbsent

#: Those that the short tests play, for their processor time; all of them in the full run.
QUICK = ("injector-codes-dunmere", "parking-brake-brevik")
#: One failing run of each.
SHORT = {name: next(iter(p.fails)) for name, p in PLAYS.items()}
#: Those of ``FAILS`` are held to their causes as well, in test_demo_book_fail.
REST = [(name, how) for name, p in PLAYS.items() if name not in FAILS for how in p.fails if how != SHORT[name]]


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


def check_record(played: Played) -> None:
    run = played.run
    assert run is not None
    assert {e.origin for e in played.events} == {Origin.BENCH}
    again = judged_again(played, run)
    said = {j.criterion: j.verdict for j in run.judgements if j.criterion in again}
    assert again == said
    assert not played.state.unsettled


def some(names: Iterable[str]) -> list[Any]:
    return [pytest.param(name, marks=() if name in QUICK else pytest.mark.full) for name in names]


@pytest.mark.parametrize("name", some(PLAYS))
def test_it_passes_when_done_right(tmp_path: Path, name: str) -> None:
    played = play(PLAYS[name], tmp_path)
    assert played.verdict is Verdict.PASS, [
        j.sentence.text for j in (played.run.judgements if played.run else ()) if j.sentence
    ]
    assert played.run is not None
    assert played.run.judgements
    check_record(played)


@pytest.mark.parametrize("name", some(PLAYS))
def test_it_does_not_pass_when_something_is_wrong(tmp_path: Path, name: str) -> None:
    how = SHORT[name]
    played = play(PLAYS[name], tmp_path, fail=how)
    assert played.verdict is PLAYS[name].fails[how].verdict
    check_record(played)


@pytest.mark.full
@pytest.mark.parametrize(("name", "way"), [(n, w) for n, p in PLAYS.items() for w in p.more_ways])
def test_it_passes_in_its_other_ways(tmp_path: Path, name: str, way: Way) -> None:
    played = play(PLAYS[name], tmp_path, way=way)
    assert played.verdict is Verdict.PASS
    assert played.run is not None
    assert played.run.started.way == way.value
    check_record(played)


@pytest.mark.full
@pytest.mark.parametrize(("name", "how"), REST)
def test_none_of_the_other_ways_to_fail_passes(tmp_path: Path, name: str, how: str) -> None:
    played = play(PLAYS[name], tmp_path, fail=how)
    assert played.verdict is PLAYS[name].fails[how].verdict
    check_record(played)
