"""Facts that no module tells: read, refused, from the settings, from the history; on the paper."""

from __future__ import annotations

import hashlib
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from asleft.job.facts import fact_words, previous_from, program_digest, read_fact, read_facts, workshop_facts
from asleft.job.papers import stored_report
from asleft.job.workshop import Workshop, write_workshop
from asleft.model.errors import Code, InputError, RecordError
from asleft.model.fact import Fact, FactKey
from asleft.model.reading import Evidence
from kit.damage import good_record
from kit.record_kit import JOB


def test_a_fact_as_said() -> None:
    said = {"key": "odometer-in", "text": " 84112 ", "unit": "km", "evidence": "observed", "source": "cluster  display"}
    assert read_fact(said) == Fact(FactKey.ODOMETER_IN, "84112", "km", Evidence.OBSERVED, "cluster display")
    assert read_fact({"key": "plate", "text": "GS 417", "unit": ""}).evidence is Evidence.DECLARED


@pytest.mark.parametrize(
    ("said", "why"),
    [
        ({"key": "colour", "text": "red"}, "is none of"),
        ({"key": "plate", "text": "  "}, "nothing is said"),
        ({"text": "x"}, "is none of"),
        ({"key": "plate", "text": "x" * 301}, "at most 300"),
        ({"key": "plate", "text": "x", "evidence": "guessed"}, "guessed"),
        ({"key": "plate", "text": "x", "digest": "12"}, "digest"),
        ({"key": "plate", "text": "x", "by": "me"}, "by: a fact has"),
    ],
)
def test_what_is_no_fact_is_refused(said: dict[str, str], why: str) -> None:
    with pytest.raises(InputError, match="record") as error:
        read_fact(said)
    assert error.value.code is Code.FACT_BAD
    assert why in str(error.value)


FIELDS = st.sampled_from(["key", "text", "unit", "evidence", "source", "digest", "x"])


@given(st.dictionaries(FIELDS, st.text(max_size=9)))
def test_any_form_is_a_fact_or_a_clear_error(said: dict[str, str]) -> None:
    try:
        facts = read_facts([said])
    except InputError:
        return
    assert facts[0].text


def test_the_settings_and_the_program_say_something_too() -> None:
    said = Workshop(address="4 Gable Street", licence="0031", gauges=("gauge 7, due 2031-09", "scale 2"))
    facts = workshop_facts(said)
    assert [f.key.value for f in facts] == ["workshop-address", "workshop-licence", "gauge", "gauge", "program-digest"]
    assert facts[-1].text == program_digest()
    assert len(program_digest()) == hashlib.sha256().digest_size * 2
    assert [f.key for f in workshop_facts(Workshop())] == [FactKey.PROGRAM_DIGEST]


def test_every_key_has_words() -> None:
    assert len(fact_words()) == len(FactKey)
    assert all(words for _, words in fact_words())


def test_no_history_or_no_such_car_gives_nothing(tmp_path: Path) -> None:
    assert previous_from(tmp_path, "A0ALDR1666S000417", "bench") == ()
    assert previous_from(tmp_path, "", "bench") == ()


def test_the_paper_follows_the_settings_of_the_workshop(tmp_path: Path) -> None:
    """Size, language, letterhead; a change for this print alone; an unknown job is said."""
    good_record(tmp_path, events=4)
    write_workshop(tmp_path, paper="letter", language="de", address="4 Gable Street")
    whole, english = stored_report(tmp_path, JOB), stored_report(tmp_path, JOB, "a4", language="en")
    assert b"/Lang (de)" in whole or b"/Lang(de)" in whole
    assert b"612 792" in whole
    assert b"612 792" not in english
    assert stored_report(tmp_path, JOB) == whole
    with pytest.raises(RecordError) as error:
        stored_report(tmp_path, "nobody")
    assert error.value.code is Code.JOB_UNKNOWN
