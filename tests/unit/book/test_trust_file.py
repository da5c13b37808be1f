"""The workshop's file of checks: added to only, a broken end is dropped, damage is told; numbers with their sources."""

from __future__ import annotations

from pathlib import Path

import pytest

from asleft.book.loader import load_procedure, read_procedure
from asleft.book.numbers import lines_of, prompt_of
from asleft.book.shelf import OWN_FOLDER
from asleft.book.trust import Check, Trust, TrustNote, from_page, hash_of_numbers, numbers_of
from asleft.book.trust_file import TrustFile
from asleft.model.errors import Code, InputError

FIRST = load_procedure(OWN_FOLDER / "throttle-stop-learn-aldra.yaml")
NAME = FIRST.procedure.id
ON = "2026-01-05T10:00:00Z"


def test_acts_are_kept_and_the_last_withdrawal_counts(tmp_path: Path) -> None:
    path = tmp_path / "t" / "trust.jsonl"
    trust = TrustFile(path)
    assert trust.level(FIRST) is Trust.DRAFT
    assert trust.entered(FIRST, "M. Okafor", ON) == 0.0
    assert trust.entered(FIRST, "M. Okafor", "2026-01-06T16:00:00Z") == 30.0
    trust.checked(NAME, Check(hash_of_numbers(FIRST), "L. Brandt", ON, False))
    assert TrustFile(path).level(FIRST) is Trust.CHECKED
    trust.withdraw(NAME, "wrong edition", "L. Brandt", ON)
    assert TrustFile(path).level(FIRST) is Trust.WITHDRAWN
    assert TrustFile(path).note(NAME).withdrawn == "wrong edition"
    trust.restore(NAME, "L. Brandt", ON)
    assert TrustFile(path).level(FIRST) is Trust.CHECKED


def test_a_line_broken_off_is_dropped_and_damage_is_told(tmp_path: Path) -> None:
    path = tmp_path / "trust.jsonl"
    TrustFile(path).withdraw(NAME, "a", "b", ON)
    whole = path.read_bytes()
    path.write_bytes(whole + whole[:20])
    trust = TrustFile(path)
    assert len(trust.acts) == 1
    trust.restore(NAME, "b", ON)
    assert [a.act for a in TrustFile(path).acts] == ["withdrawn", "restored"]
    path.write_bytes(whole[:20] + b"\n" + whole)
    with pytest.raises(InputError, match="damaged") as caught:
        TrustFile(path)
    assert caught.value.code is Code.CHECK_FAILED


@pytest.mark.parametrize(("why", "by"), [("", "b"), ("a", " ")])
def test_withdrawing_needs_a_name_and_a_reason(tmp_path: Path, why: str, by: str) -> None:
    with pytest.raises(InputError):
        TrustFile(tmp_path / "t").withdraw(NAME, why, by, ON)


def test_the_programs_own_procedures_are_checked_as_they_stand() -> None:
    shipped = TrustFile(OWN_FOLDER / "trust.jsonl")
    for name in ("throttle-stop-learn-aldra", "planned-clear", "idle-proof"):
        assert shipped.level(load_procedure(OWN_FOLDER / f"{name}.yaml")) is Trust.CHECKED, name


def test_each_number_has_its_printed_form_bytes_source_and_names() -> None:
    lines = {line.place: line for line in lines_of(FIRST)}
    identifier = lines["identifier.rows[2].identifier"]
    assert (identifier.printed, identifier.sends) == ("0x5A31", "5A 31")
    low = lines["entry[3].low"]
    assert (low.value, low.printed, low.checked_by) == ("12 V", "12.0 to 15.0 V", "L. Brandt")
    assert low.source.endswith("page 12-31")
    assert lines["entry[3].hold-s"].value == "3 s"
    assert lines["minutes.active"].value == "5 min"
    check = Check(hash_of_numbers(FIRST), "A. Third", ON, True)
    again = {line.place: line for line in lines_of(FIRST, TrustNote(NAME, (check,)))}
    assert again["entry[3].low"].checked_by == "A. Third (alone, after a pause)"


def test_a_number_from_another_page_names_it() -> None:
    other = "sources:\n  - {at: 'entry[3]', source: {title: Bulletin 7, page: 2-1, entered-by: S. Novak}}\n"
    loaded = read_procedure((FIRST.text + other).encode(), "p.yaml")
    lines = {line.place: line for line in lines_of(loaded)}
    assert lines["entry[3].low"].entered_by == "S. Novak"
    assert lines["entry[4].low"].entered_by == "M. Okafor"


def test_a_prompt_names_the_number_and_not_its_value() -> None:
    prompts = {n.place: prompt_of(FIRST.procedure, n) for n in from_page(FIRST)}
    assert prompts["entry[3].low"] == "entry[3].low (supply at the engine module, in V), page 12-31"
    assert "5A31" not in prompts["identifier.rows[2].identifier"]
    assert not any(place.startswith("criteria[1]") for place in prompts), "our own limit stands on no page"
    assert len(prompts) < len(numbers_of(FIRST))
