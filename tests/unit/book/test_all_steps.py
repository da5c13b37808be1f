"""Every kind of step: read, checked, shown in the dry run; what is not carried out yet is refused to run."""

from __future__ import annotations

import pytest

from asleft.book.dry_run import blanks, dry_run
from asleft.book.loader import LoadedProcedure, ProcedureError, read_procedure
from asleft.book.procedure import Way
from asleft.model.effect import Effect

HEAD = """
id: all-steps
function: battery-data
name: All steps
revision: 1
source: {title: Invented page, edition: "1", page: "1", kind: fictional, entered-by: A, checked-by: B}
ways:
  by-wire:
"""
STEPS = {
    "read": "{type: read, id: type-before, name: battery type, identifier: 4C29, printed: hex, save: before}",
    "type": "{type: type-in, id: typed, text: capacity from the label, unit: Ah, low: 30, high: 120, save: capacity}",
    "write": (
        "{type: write, id: set-type, name: battery type, identifier: 4C29, printed: hex, value: '02', "
        "restore: write back}"
    ),
    "typed": "{type: write, id: set-capacity, name: capacity, identifier: 4C-2A, printed: hex-bytes, saved: capacity}",
    "lamp": "{type: actuate, id: lamp, text: lamp on, identifier: '19500', printed: decimal, state: '1', seconds: 5}",
    "access": "{type: access, id: access, level: 1}",
    "restart": "{type: restart-module, id: restart, way: key-off-on}",
    "wait": (
        "{type: wait-until, id: warm, text: warm, timeout-s: 600, condition: {id: warm, text: coolant warm, "
        "kind: at-least, signal: coolant-temperature, low: 80, unit: °C}}"
    ),
    "sequence": (
        "{type: timed-sequence, id: keys, text: as printed, marks: [{act: key on, at-s: 0}, {act: key off, at-s: 3}]}"
    ),
    "drive": (
        "{type: drive-segment, id: road, text: steady, hold-s: 60, timeout-s: 900, conditions: [{id: v, text: speed, "
        "kind: within, signal: vehicle-speed, low: 60, high: 80, unit: km/h}]}"
    ),
}


def load(**changed: str) -> LoadedProcedure:
    steps = {**STEPS, **changed}
    text = HEAD + "".join(f"    - {step}\n" for step in steps.values())
    return read_procedure(text.encode(), "p.yaml")


def test_bytes_and_effects() -> None:
    """Service bytes by ISO 14229-1: 22 read, 2E write, 2F control (03 adjust, 00 give back), 27 access, 11 restart."""
    sent = {line.step: (line.sends, line.effect) for line in dry_run(load().procedure, Way.BY_WIRE)}
    assert sent["type-before"] == (("224C29",), Effect.READS)
    assert sent["set-type"] == (("2E4C2902", "224C29"), Effect.WRITES)
    assert sent["set-capacity"] == (("224C2A",), Effect.WRITES)
    assert sent["lamp"] == (("2F4C2C0301", "2F4C2C00"), Effect.ACTUATES)
    assert sent["access"] == (("2701",), Effect.ACCESS)
    assert sent["restart"] == (("1102",), Effect.RESTARTS)
    assert [sent[name][0] for name in ("typed", "warm", "keys", "road")] == [(), (), (), ()]


def test_what_is_not_known_and_what_cannot_be_undone_is_said() -> None:
    lines = dry_run(load().procedure, Way.BY_WIRE)
    told = {line.step: line.what.text for line in lines}
    assert "restored by: write back" in told["set-type"]
    assert "cannot be undone" in told["set-capacity"]
    assert len(blanks(lines)) == 2


def test_only_reading_may_be_repeated() -> None:
    lines = dry_run(load().procedure, Way.BY_WIRE)
    assert {line.step for line in lines if not line.repeatable} == {
        "set-type",
        "set-capacity",
        "lamp",
        "access",
        "restart",
    }


@pytest.mark.parametrize(
    ("name", "old", "new", "said"),
    [
        ("read", "4C29", "4C2", "two bytes are four"),
        ("write", "value: '02'", "value: '0'", "an odd number of digits"),
        ("write", "value: '02'", "saved: nothing", 'nothing was typed as "nothing"'),
        ("write", "value: '02', ", "", "either a value or a typed one"),
        ("typed", "saved: capacity", "saved: capacty", "instead: capacity"),
        ("lamp", "'19500'", "'195000'", "more digits"),
        ("lamp", "seconds: 5", "seconds: 0", "at least 0.1"),
        ("restart", "key-off-on", "key-off", "instead: key-off-on"),
        ("wait", "unit: °C", "unit: V", "coolant-temperature is a temperature, V is not"),
        ("sequence", "at-s: 3", "at-s: 0", "not after the act before it"),
        ("sequence", "marks: [{act: key on, at-s: 0}, {act: key off, at-s: 3}]", "marks: []", "without acts"),
        ("drive", "timeout-s: 900", "timeout-s: 9", "given up before it can have held"),
        ("drive", "signal: vehicle-speed", "signal: speed", "is no known signal"),
    ],
)
def test_what_could_not_work_is_refused(name: str, old: str, new: str, said: str) -> None:
    assert old in STEPS[name]
    with pytest.raises(ProcedureError) as caught:
        load(**{name: STEPS[name].replace(old, new)})
    assert any(said in r.text for r in caught.value.remarks), [r.text for r in caught.value.remarks]
