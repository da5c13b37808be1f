"""The published schema: equal to the types, and of one mind with the loader on good and bad files.

The independent validator is the ``jsonschema`` package. What only the loader can see (rules between fields, YAML's own
traps) is listed: there the schema may accept what the loader refuses, never the other way round.
"""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import pytest
from jsonschema import Draft202012Validator

from asleft.book.loader import ProcedureError, read_procedure
from asleft.book.nodes import Map, Scalar, Tree, parse
from asleft.book.schema import procedure_schema
from asleft.book.shelf import OWN_FOLDER, TEMPLATES

PUBLISHED = Path(__file__).resolve().parents[2] / "docs" / "schema" / "procedure.schema.json"
VALIDATOR = Draft202012Validator(procedure_schema())
GOOD = sorted([*OWN_FOLDER.glob("*.yaml"), *TEMPLATES.glob("*.yaml")])


def plain(tree: Tree) -> Any:
    """A tree as a YAML 1.2 core reader gives it."""
    if isinstance(tree, Map):
        return {key: plain(value) for key, value in tree.items.items()}
    if not isinstance(tree, Scalar):
        return [plain(item) for item in tree.items]
    if not tree.plain:
        return tree.text
    if tree.text in {"true", "false"}:
        return tree.text == "true"
    if re.fullmatch(r"-?\d+", tree.text):
        return int(tree.text)
    if re.fullmatch(r"-?\d+\.\d+", tree.text):
        return float(tree.text)
    return tree.text


def test_the_published_schema_is_the_one_of_the_types() -> None:
    assert json.loads(PUBLISHED.read_text(encoding="utf-8")) == procedure_schema()
    Draft202012Validator.check_schema(procedure_schema())


@pytest.mark.parametrize("path", GOOD, ids=lambda p: p.stem)
def test_good_files_are_good_for_both(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    read_procedure(text.encode(), path.name)
    assert [e.message for e in VALIDATOR.iter_errors(plain(parse(text)))] == []


TEXT = (OWN_FOLDER / "throttle-stop-learn-aldra.yaml").read_text(encoding="utf-8")
BAD = [
    ("revision: 1", "revision: 0"),
    ("revision: 1", "revision: one"),
    ("revision: 1\n", ""),
    ("risk: 1", "risk: 5"),
    ("function: throttle", "function: Throttle"),
    ("    kind: within", "    kind: inside"),
    ("    hold-s: 3", "    holds: 3"),
    ("    hold-s: 2", "    hold-s: two"),
    ("type: routine-start", "type: routine"),
    ("    - type: session\n      id: extended", "    - type: session\n      id: [extended]"),
    ("form: rest-range", "form: rest"),
    ("owner: ours", "owner: mine"),
    ("asks: stop", "asks: halt"),
    ("  expected: [P2176", "  expected: [P21"),
    ("years: [2010, 2020]", "years: [2010]"),
    ("propulsion: petrol", "propulsion: steam"),
    ("printed: hex", "printed: octal"),
    ("cautions:", "cautions: none\ntools:"),
    ("triggers:", "trigers:"),
    ("source:\n", "source: a book\nopen-items:\n"),
]


@pytest.mark.parametrize(("old", "new"), BAD)
def test_bad_files_are_bad_for_both(old: str, new: str) -> None:
    text = TEXT.replace(old, new, 1)
    assert text != TEXT
    with pytest.raises(ProcedureError):
        read_procedure(text.encode(), "p.yaml")
    assert list(VALIDATOR.iter_errors(plain(parse(text))))


def test_quick_files() -> None:
    quick = "quick: idle-relearn\nsource: {page: 4-11}\nentry: [loads off]\naction: a\nresult: r\nby: {initials: M}\n"
    read_procedure(quick.encode(), "q.yaml")
    assert not list(VALIDATOR.iter_errors(plain(parse(quick))))
    assert list(VALIDATOR.iter_errors(plain(parse(quick.replace("action: a\n", "")))))
