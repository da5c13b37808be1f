"""Procedure files: one closed form, every departure named with file, line, procedure, field, why and what instead."""

from __future__ import annotations

import hashlib
from pathlib import Path

import pytest

from asleft.book.loader import LoadedProcedure, ProcedureError, load_procedure, read_procedure
from asleft.book.shelf import OWN_FOLDER
from asleft.model.errors import Code, InputError
from asleft.model.step import RoutineStart

GOOD = (OWN_FOLDER / "throttle-stop-learn-aldra.yaml").read_text(encoding="utf-8")


def read(text: str) -> LoadedProcedure:
    return read_procedure(text.encode(), "p.yaml")


def errors(text: str | bytes) -> list[str]:
    data = text if isinstance(text, bytes) else text.encode()
    with pytest.raises(ProcedureError) as caught:
        read_procedure(data, "p.yaml")
    assert caught.value.code is Code.PROCEDURE_BAD
    return [r.text for r in caught.value.remarks]


def test_the_text_and_its_hash_are_kept() -> None:
    loaded = read(GOOD)
    assert loaded.text == GOOD
    assert loaded.digest == hashlib.sha256(GOOD.encode()).hexdigest()
    assert loaded.procedure.condition("supply").low == 12.0  # type: ignore[union-attr]


def test_steps_become_the_closed_union() -> None:
    steps = read(GOOD).procedure.ways.by_wire
    assert [s.id for s in steps if isinstance(s, RoutineStart)] == ["learn"]


def test_watched_conditions_are_entry_conditions() -> None:
    procedure = read(GOOD).procedure
    assert {c.id for c, _ in procedure.watched} == {"key-on-engine-off", "standing", "supply", "pedal-at-rest"}


CHANGES = [
    ("    low: 12.0", "    low: 012.0", 'entry[3].low: "012.0" is not read as a number; instead: 12.0 without'),
    ("    high: 15.0", "    high: 1.5e1", "instead: a plain decimal such as 12 or 0.5"),
    ("    high: 15.0", "    high: 15,0", "15.0 with a point"),
    ("    high: 15.0", "    high: 15.0 V", "the number alone; its unit has a key of its own"),
    ("    high: 15.0", '    high: "15.0"', "stands in quotes and is a text"),
    ("    high: 15.0", "    high: 0x0F", "is not read as a number"),
    ("    high: 15.0", "    high: .inf", "is not read as a number"),
    ("    unit: V", "    unit: volt", 'entry[3].unit: "volt" is no unit; instead: V'),
    ("    unit: V", "    unit: km/h", "control-module-voltage is a voltage, km/h is not"),
    ("    leave-low: 11.8", "    leave-low: 12.8", "lost at a tighter limit"),
    ("    leave-low: 11.8", "    leave_low: 11.8", '"leave_low" is no key here; instead: leave-low'),
    ("signal: coolant-temperature", "signal: coolant-temperatur", "instead: coolant-temperature"),
    ("  - {holds: supply, asks: stop}", "  - {holds: suply, asks: stop}", "instead: supply"),
    ("  - {holds: supply, asks: stop}", "  - {holds: hands-clear, asks: stop}", "nothing can watch it"),
    ("  - {holds: supply, asks: stop}", "  - {holds: supply, asks: halt}", "none of the choices"),
    ("state: koeo", "state: keo", "instead: koeo"),
    ("revision: 1", "revision: 0", "revision: 0 is too small; instead: at least 1"),
    ("revision: 1", "revision: yes", '"yes" is not read as a whole number'),
    ("revision: 1", "revision: 1\nrevision: 2", '"revision" stands here a second time (first in line 5)'),
    ("revision: 1", "revision:\t1", "a tab; instead: spaces"),
    ("revision: 1", "revision: &a 1", "anchors and aliases"),
    ("revision: 1", "revision: !!int 1", "asks for a type"),
    ("revision: 1", "revision: [1]", "a single value is expected"),
    ("revision: 1\n", "", '"revision" is missing'),
    ('model: "1.6"', "model: 1.6", '1.6 without quotes is no text to every reader of YAML; instead: "1.6"'),
    ("function: throttle-stop-learn", "function: Throttle", "small letters, digits and hyphens"),
    ('identifier: "0x5A21"', "identifier: 0x5A21", "without quotes is no text"),
    ('identifier: "0x5A21"', "identifier: 5E31", "5E31 without quotes"),
    ('identifier: "0x5A21"', 'identifier: "5A2"', "two bytes are four"),
    ("software-number: ENGSW1610, ", "", '"software-number" is missing'),
    ("    - P2101", "    - P2O01", "a trouble code such as P2176"),
    ("type: routine-start", "type: routine", '"routine" is no type here'),
    ("    - type: session", "    - typ: session", 'an entry with "type" is expected'),
    ("      id: sweep", "      id: result", "is the id of an earlier entry"),
    ("      save: sweep", "      save: rest", '"rest" is saved by an earlier step'),
    ("      times: 5", "      times: 0", "0 is too small; instead: at least 1"),
    ("      id: learn\n", "      id: learn\n      program: 1\n", '"program" is no key here'),
    ("years: [2010, 2020]", "years: [2020, 2010]", "the first year is after the last"),
    ("years: [2010, 2020]", "years: [2010]", "exactly 2"),
    ("years: [2010, 2020]", "years: 2010", "exactly 2"),
    ("elapsed: 5}", "elapsed: 4}", "less time passes"),
    ("name: Elec", "nаme: Elec", "only looks like an ASCII one; instead: name, typed anew"),
    ("name: Elec", "name: El\u200bec", "cannot be seen (ZERO WIDTH SPACE)"),
    ("    kind: declared", "    kind: declared\n    signal: engine-speed", "a declared condition has no signal"),
    ("    low: 5\n    high: 60", "    high: 60", "kind within needs low"),
    ("triggers:\n", "triggers: none\nunused:\n", "a list is expected here"),
]


@pytest.mark.parametrize(("old", "new", "said"), CHANGES)
def test_each_departure_is_named(old: str, new: str, said: str) -> None:
    assert old in GOOD
    found = errors(GOOD.replace(old, new, 1))
    assert any(said in line for line in found), found
    assert all(line.startswith("p.yaml:") and "; instead: " in line for line in found)


def test_the_line_is_that_of_the_fault() -> None:
    text = GOOD.replace("    unit: V", "    unit: volt", 1)
    line = 1 + next(n for n, row in enumerate(text.splitlines()) if row == "    unit: volt")
    assert errors(text)[0].startswith(f"p.yaml:{line}: throttle-stop-learn-aldra: entry[3].unit: ")


def test_all_errors_are_told_at_once() -> None:
    assert len(errors(GOOD.replace("    unit: V", "    unt: V", 1).replace("asks: stop", "asks: halt"))) == 5


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (b"", "the file holds nothing"),
        (b"id: \xff", "not UTF-8"),
        ("id: a".encode("utf-16"), "not UTF-8"),
        (b"id: a\n---\nid: b\n", "a second document"),
        (b"- a\n- b\n", "a map is expected"),
        (b"just words\n", "a map is expected"),
        (b"id: [", "not readable as YAML"),
        (b"a: &a [1]\nb: *a\n", "anchors and aliases"),
        (b"? [a]\n: b\n", "a key is a list or a map"),
        (b"a: " + b"[" * 60 + b"]" * 60, "nested deeper"),
        (b"a: [" + b"1," * 30_000 + b"]", "more than 20000 entries"),
        (b"a" * 500_000, "at most 400000 bytes"),
        (b"id: a\x00b", "cannot be seen"),
    ],
)
def test_what_is_no_procedure_at_all(data: bytes, said: str) -> None:
    assert any(said in line for line in errors(data))


def test_a_missing_file() -> None:
    with pytest.raises(InputError) as caught:
        load_procedure(Path("/nowhere/p.yaml"))
    assert caught.value.code is Code.PROCEDURE_MISSING


def test_rows_with_the_same_numbers() -> None:
    text = GOOD.replace("part-number: ENG-1620-2", "part-number: ENG-1620-1", 1)
    assert "table 12-4, line 2 has the same part and software number" in errors(text)[0]


def test_risk_three_may_not_be_waived() -> None:
    text = GOOD.replace("risk: 1", "risk: 3").replace(
        "    text: car standing", "    text: car standing\n    waivable: true"
    )
    assert "risk 3 may be waived" in errors(text)[0]
