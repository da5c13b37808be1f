"""What can never come about is told; questions, looks before and after, overlapping applicability."""

from __future__ import annotations

import pytest

from asleft.book.dry_run import dry_run
from asleft.book.lint import lint, lint_book
from asleft.book.loader import LoadedProcedure, read_procedure
from asleft.book.procedure import Way
from asleft.book.shelf import OWN_FOLDER

TEXT = (OWN_FOLDER / "throttle-stop-learn-aldra.yaml").read_text(encoding="utf-8")
WAIT = "      id: learn\n      reaction: stop\n      settle: routine-result\n"
CRANKING = (
    "    - type: wait-until\n      id: runs\n      text: engine runs\n      timeout-s: 60\n      condition:"
    " {id: runs, text: engine runs, kind: at-least, signal: engine-speed, low: 400, unit: rpm}\n"
)


def load(text: str) -> LoadedProcedure:
    return read_procedure(text.encode(), "p.yaml")


def said(text: str) -> dict[str, str]:
    return {f"{r.code} {r.field}": r.why for r in lint(load(text))}


@pytest.mark.parametrize(
    ("old", "new", "code"),
    [
        (
            "propulsion: petrol,",
            "propulsion: petrol, numbers: [{part-number: ENG-1620-1}],",
            "unreachable identifier.rows[1]",
        ),
        ("state: stored", "state: refused", "unreachable ways.by-wire[4].states"),
        (WAIT, WAIT + CRANKING, "unreachable ways.by-wire[4]"),
        ("expected: [P2176,", "expected: [P2101,", "unreachable screening.expected[1]"),
        ("restore: cannot", "proof-in-words: cannot", "no-restore ways.by-wire[3]"),
    ],
)
def test_what_is_never_reached_is_told(old: str, new: str, code: str) -> None:
    assert old in TEXT
    assert code not in said(TEXT)
    assert code in said(TEXT.replace(old, new, 1))


LOOK = """ways:
  look:
    - {id: stop, name: learned stop, identifier: "0x2A01", printed: hex}
    - {id: rest, name: rest, signals: [throttle-absolute]}
  questions:
    - {id: new, text: A new throttle body?, choices: [new, the old one]}
"""


def test_what_is_looked_at_and_asked_stands_round_the_steps() -> None:
    loaded = load(TEXT.replace("ways:\n", LOOK, 1))
    lines = dry_run(loaded.procedure, Way.BY_WIRE)
    plain = dry_run(load(TEXT).procedure, Way.BY_WIRE)
    assert [line.step for line in lines[:3]] == ["new", "before-stop", "before-rest"]
    assert [line.step for line in lines[-3:]] == ["after-stop", "after-rest", "end"]
    assert [line for line in lines if line in plain] == list(plain)
    assert lines[1].sends == ("222A01",)
    assert not dry_run(loaded.procedure, Way.BESIDE)
    assert "not-agreed ways.questions[1]" in {f"{r.code} {r.field}" for r in lint(loaded)}


@pytest.mark.parametrize(
    ("old", "new", "overlaps"),
    [
        ("make: Aldra", "make: aldra", True),
        ("make: Aldra", "make: Brevik", False),
        ("years: [2010, 2020]", "years: [2021, 2022]", False),
        ("years: [2010, 2020]", "years: [2020, 2022]", True),
        ("propulsion: petrol", "propulsion: diesel", False),
        ("throttle: electronic", "engine: A16", True),
        ("throttle: electronic", "numbers: [{part-number: E-1}]", True),
    ],
)
def test_overlapping_applicability(old: str, new: str, overlaps: bool) -> None:
    other = load(TEXT.replace("learn-aldra\n", "learn-other\n", 1).replace(old, new, 1))
    assert ("overlap" in {r.code for r in lint_book([load(TEXT), other])}) is overlaps


def test_other_module_numbers_do_not_overlap() -> None:
    texts = [TEXT.replace("years: [2010, 2020]", f"numbers: [{{part-number: E-{n}}}]", 1) for n in (1, 2)]
    one, two = (load(text.replace("learn-aldra\n", f"learn-{n}\n", 1)) for n, text in enumerate(texts))
    assert "overlap" not in {r.code for r in lint_book([one, two])}
