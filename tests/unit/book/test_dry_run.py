"""Dry run and lint of the procedure that comes with the program."""

from __future__ import annotations

from asleft.book.dry_run import dry_run
from asleft.book.identifier import parse
from asleft.book.lint import lint
from asleft.book.loader import read_procedure
from asleft.book.procedure import Printed, Way
from asleft.book.remark import Level
from asleft.book.shelf import OWN_FOLDER, load_book
from asleft.model.effect import Effect

LOADED = load_book(OWN_FOLDER).procedure("throttle-stop-learn-aldra")


def test_every_byte_with_its_effect() -> None:
    """Bytes by ISO 14229-1: session 10 03, routine start 31 01, result 31 03, default session 10 01."""
    lines = dry_run(LOADED.procedure, Way.BY_WIRE, parse("0x5A31", Printed.HEX))
    sent = [(s, line.effect) for line in lines for s in line.sends]
    assert sent == [
        ("1003", Effect.SESSION),
        ("31015A31", Effect.ACTUATES),
        ("31035A31", Effect.READS),
        ("1001", Effect.SESSION),
    ]


def test_without_an_identifier_the_blank_is_named() -> None:
    lines = dry_run(LOADED.procedure, Way.BY_WIRE)
    assert [line.step for line in lines if line.blank and "identifier" in line.blank.text] == ["learn", "result"]
    assert not any("31" in line.sends for line in lines)


def test_only_what_has_no_effect_may_be_repeated() -> None:
    lines = dry_run(LOADED.procedure, Way.BY_WIRE)
    assert [line.step for line in lines if not line.repeatable] == ["learn"]


def test_our_procedure_is_without_errors_and_warnings() -> None:
    assert [r.text for r in lint(LOADED) if r.level is not Level.GAP] == []


def test_gaps_and_warnings_are_named() -> None:
    text = LOADED.text
    start = text.index("cautions:"), text.index("screening:")
    text = text[: start[0]] + text[start[1] :]
    text = text.replace("checked-by: L. Brandt", "checked-by: M. Okafor").replace(
        "minutes: {active: 5, elapsed: 5}", ""
    )
    found = {r.code for r in lint(read_procedure(text.encode(), "p.yaml"))}
    assert {"no-caution", "self-checked", "no-minutes"} <= found
