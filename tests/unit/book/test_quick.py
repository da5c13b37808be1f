"""The quick procedure: five things, valid at once, measured where a signal fits, declared where none does."""

from __future__ import annotations

import pytest

from asleft.book.lint import lint
from asleft.book.loader import ProcedureError, read_procedure
from asleft.book.phrases import condition_from, criterion_from
from asleft.book.procedure import Way
from asleft.book.remark import Level
from asleft.model.condition import ConditionKind
from asleft.proof.criterion_data import IdleMean, TrimSum

QUICK = """
quick: idle-relearn
source: {title: Invented manual, edition: "2", page: 4-11}
entry: [coolant 80-100 degC, "P, parking brake on", loads off]
action: started on the other tester as on the page; I mark start and end
result: idle comes down and stays; that tester's report attached
limits: [idle 750 +/- 50 rpm, sounds right]
by: {initials: M. O.}
"""


def test_five_things_make_a_procedure() -> None:
    loaded = read_procedure(QUICK.encode(), "q.yaml")
    procedure = loaded.procedure
    assert loaded.quick
    assert [c.kind for c in procedure.entry] == [ConditionKind.WITHIN, ConditionKind.DECLARED, ConditionKind.DECLARED]
    assert procedure.ways.offered == (Way.BESIDE,)
    assert procedure.ways.steps(Way.BESIDE)
    criterion = procedure.criteria[0]
    assert isinstance(criterion, IdleMean)
    assert (criterion.limits.low, criterion.limits.high, criterion.limits.owner) == (700, 800, "printed")
    assert "sounds right" in procedure.proof_in_words


def test_what_is_missing_is_a_gap_and_no_bar() -> None:
    found = lint(read_procedure(QUICK.encode(), "q.yaml"))
    assert {r.level for r in found} <= {Level.GAP, Level.WARNING}
    assert {"no-screening", "no-minutes", "unchecked", "no-after"} <= {r.code for r in found}


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        (", page: 4-11", "", '"page" is missing'),
        ("action: started", "acton: started", "instead: action"),
        ("coolant 80-100 degC", "coolant 80-100 V", "coolant-temperature is a temperature"),
        ("coolant 80-100 degC", "coolant 100-80 degC", "low is above high"),
        ("by: {initials: M. O.}", "", '"by" is missing'),
        ("quick: idle-relearn", "quick: Idle", "small letters"),
    ],
)
def test_departures_are_named(old: str, new: str, said: str) -> None:
    with pytest.raises(ProcedureError) as caught:
        read_procedure(QUICK.replace(old, new).encode(), "q.yaml")
    assert any(said in r.text for r in caught.value.remarks), [r.text for r in caught.value.remarks]


@pytest.mark.parametrize(
    ("phrase", "signal", "low", "high", "unit"),
    [
        ("coolant 80 to 100 °C", "coolant-temperature", 80, 100, "°C"),
        ("supply at least 12.4 V", "control-module-voltage", 12.4, None, "V"),
        ("Fuel > 25 %", "fuel-level", 25, None, "%"),
        ("intake air below 60 degC", "intake-air-temperature", None, 60, "°C"),
        ("engine off", "engine-speed", None, 0, "rpm"),
        ("coolant -10-20 degC", "coolant-temperature", -10, 20, "°C"),
        ("road speed 60-80 km/h", "vehicle-speed", 60, 80, "km/h"),
    ],
)
def test_phrases_that_can_be_measured(phrase: str, signal: str, low: float, high: float, unit: str) -> None:
    found = condition_from(phrase, 1, "page 1")
    assert (found.signal, found.low, found.high, found.unit, found.printed) == (signal, low, high, unit, phrase)


@pytest.mark.parametrize("phrase", ["loads off", "coolant warm", "coolant 80", "coolants 80-100 degC", "80-100 degC"])
def test_phrases_that_cannot_are_declared_word_for_word(phrase: str) -> None:
    found = condition_from(phrase, 1, "page 1")
    assert found.kind is ConditionKind.DECLARED
    assert found.text == phrase


def test_trims_are_judged_and_other_limits_stay_words() -> None:
    assert isinstance(criterion_from("trims +/- 10 %", 1, "page 1", "idle"), TrimSum)
    assert criterion_from("pressure 80-90 bar", 1, "page 1", "idle") is None
