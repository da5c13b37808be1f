"""Edits keep remarks, order and quotes; what cannot be used is not written."""

from __future__ import annotations

import difflib
from pathlib import Path

import pytest

from asleft.book.edit import set_field
from asleft.book.loader import read_procedure
from asleft.book.shelf import OWN_FOLDER, TEMPLATES
from asleft.model.errors import Code, InputError

TEXT = (OWN_FOLDER / "throttle-stop-learn-aldra.yaml").read_text(encoding="utf-8")
#: A sixth of the templates: each takes the slow parser four times.
FILES = sorted((*sorted(TEMPLATES.glob("*.yaml"))[::6], *OWN_FOLDER.glob("*.yaml")))


def lines_changed(new: str) -> list[str]:
    return [line for line in difflib.ndiff(TEXT.splitlines(), new.splitlines()) if line[0] in "+-"]


def test_one_value_and_the_revision_change_and_nothing_else() -> None:
    assert lines_changed(set_field(TEXT, "entry[3].low", "12.50", "p.yaml")) == [
        "- revision: 1",
        "+ revision: 2",
        "-     low: 12.0",
        "+     low: 12.50",
    ]
    quoted = set_field(TEXT, "identifier.rows[2].identifier", '"0x5A33"', "p.yaml")
    assert [line[:2] for line in lines_changed(quoted)] == ["- ", "+ ", "- ", "+ "]
    assert read_procedure(quoted.encode(), "p.yaml").procedure.identifier is not None
    assert len(lines_changed(set_field(TEXT, "revision", "7", "p.yaml"))) == 2


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_every_file_of_ours_comes_back_as_it_was(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    revision = read_procedure(text.encode(), "p.yaml").procedure.revision
    assert set_field(text, "revision", str(revision), "p.yaml") == text


@pytest.mark.parametrize(
    ("place", "value"),
    [
        ("entry[3].low", "15.5"),
        ("entry[3].low", "012"),
        ("entry[3].low", "0x10"),
        ("entry[3].low", "1e1"),
        ("entry[3].low", '"12"'),
        ("entry[3].low", "[1]"),
        ("entry[3].low", ""),
        ("entry[3].low", "1\nid: other"),
        ("entry[3].low", "!!int 1"),
        ("entry[3].low", "*a"),
        ("entry[3].unit", "km/h"),
        ("entry[3].colour", "red"),
        ("entry[30].low", "1"),
        ("entry", "1"),
        ("entry[3]", "1"),
        ("entry[0].low", "1"),
        ("nothing.low", "1"),
        ("../x", "1"),
        ("", "1"),
    ],
)
def test_what_could_not_be_used_is_refused(place: str, value: str) -> None:
    with pytest.raises(InputError) as caught:
        set_field(TEXT, place, value, "p.yaml")
    assert caught.value.code is Code.PROCEDURE_BAD


@pytest.mark.parametrize("value", ["0", "-5", "0.125", "7.0", "7.00", "14.999"])
def test_a_plain_number_is_written_as_typed(value: str) -> None:
    new = set_field(TEXT, "entry[4].low", value, "p.yaml")
    assert f"    low: {value}\n" in new
    assert read_procedure(new.encode(), "p.yaml").procedure.entry[3].low == float(value)
