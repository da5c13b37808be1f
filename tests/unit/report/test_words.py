"""The tables of words: complete, with the same places in every language; translations that cannot lie."""

from __future__ import annotations

import re
import string

import pytest

from asleft.model.errors import Code, InputError
from asleft.model.message import say
from asleft.report.english import ENGLISH
from asleft.report.german import GERMAN, MESSAGES
from asleft.report.profile import Profile
from asleft.report.view import view
from asleft.report.words import TABLES, Words
from kit import events as kit

DE = Words(Profile(language="de"))


def places(text: str) -> set[str]:
    return {name for _, name, _, _ in string.Formatter().parse(text) if name is not None}


@pytest.mark.parametrize("language", TABLES)
def test_a_table_is_complete_and_has_the_same_places(language: str) -> None:
    table = TABLES[language]
    assert set(table) == set(ENGLISH)
    for word, text in table.items():
        assert places(text) == places(ENGLISH[word]), word


def test_translations_of_messages_have_the_same_places() -> None:
    for word, (english, german) in MESSAGES.items():
        assert places(german) == places(english), word
        assert german != english, word


def test_the_german_table_is_german() -> None:
    """Only signs, numbers, fixed verdict words and a few words common to both languages stay equal."""
    same = {w for w, text in GERMAN.items() if text == ENGLISH[w] and re.search("[a-z]{3}", text)}
    assert same <= {"open.failed", "plan.title", "less-than", "differences.between"}


def test_a_message_is_translated_only_while_its_english_text_is_the_one_translated() -> None:
    assert DE.said(say("run.verdict", "PASS: every criterion")) == "PASS: jedes Kriterium"
    assert DE.said(say("run.verdict", "PASS: all of it")) == "PASS: all of it"
    assert DE.said(say("plan.after", "after {before}: {why}", before="0.5", why="SW 1.5")) == "nach 0,5: SW 1.5"


def test_a_caution_is_printed_as_recorded_first_and_its_translation_is_marked() -> None:
    known = say("work.done", MESSAGES["work.done"][0], items="x")
    assert DE.caution(known).startswith(known.text + " [Übersetzung nicht geprüft: Zündung aus.")
    unknown = say("caution", "{text}", text="Hot.")
    assert DE.caution(unknown) == "Hot. [nicht übersetzt]"
    assert Words().caution(unknown) == "Hot."


def test_a_german_report_has_german_words_dates_and_numbers() -> None:
    events = kit.demo_job()
    v = view(events, "00", generated="2031-04-17T12:00:00Z", profile=Profile(language="de"))
    facts = {f.label: f.value.text for f in v.front.facts.rows}
    assert v.title == "Bericht zur Rückkehr in den Betrieb"
    assert facts["Begonnen"].startswith("17.04.2031 08:30:01 UTC")
    stop = next(r for r in v.front.numbers.rows if "learned lower stop" in r.cells[0].text)
    assert stop.cells[1].text == "14,9"
    assert "PASS = bestanden" in v.front.numbers_note
    assert v.watermark.startswith("PRÜFSTAND")
    part = next(t for s in v.sections for t in s.blocks if getattr(t, "title", "").startswith("Steuergerät: engine"))
    assert any(c.text == "SW 0031" for r in part.rows for c in r.cells)


def test_english_words_with_german_numbers() -> None:
    events = kit.demo_job()
    v = view(events, "00", generated="2031-04-17T12:00:00Z", profile=Profile(locale="de"))
    assert v.title == "Return-to-service report"
    assert any(c.text == "14,9" for r in v.front.numbers.rows for c in r.cells)


def test_an_unknown_language_or_locale_is_a_clear_error() -> None:
    for profile in (Profile(language="xx"), Profile(locale="xx")):
        with pytest.raises(InputError) as error:
            Words(profile)
        assert error.value.code is Code.LANGUAGE_UNKNOWN


def test_the_words_avoid_what_the_trade_avoids() -> None:
    """No marketing word, no legal claim, no word of a product."""
    bad = re.compile(r"\b(scan|health|guided|OK|certified|guaranteed|flash|one-touch|wizard)\b", re.IGNORECASE)
    assert not [w for w, text in ENGLISH.items() if bad.search(text)]
