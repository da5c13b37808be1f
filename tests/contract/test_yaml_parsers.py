"""Both YAML parsers give the same trees, lines included, and refuse the same tricks."""

from __future__ import annotations

import pytest

from asleft.book.nodes import Unreadable, parse
from asleft.book.shelf import OWN_FOLDER, TEMPLATES
from asleft.book.yaml_events import fast_parser, plain_parser

FAST = fast_parser()
needs_fast = pytest.mark.skipif(FAST is None, reason="PyYAML with libyaml is not installed")
FILES = [*OWN_FOLDER.glob("*.yaml"), *sorted(TEMPLATES.glob("*.yaml"))[:6]]


def tree_with(monkeypatch: pytest.MonkeyPatch, chosen: object, text: str) -> object:
    monkeypatch.setattr("asleft.book.yaml_events.parser", lambda: chosen)
    try:
        return parse(text)
    except Unreadable as bad:
        return [(line, c.code) for line, c in bad.complaints]


@needs_fast
@pytest.mark.parametrize("path", FILES, ids=lambda p: p.stem)
def test_the_same_tree(monkeypatch: pytest.MonkeyPatch, path: object) -> None:
    text = path.read_text(encoding="utf-8")  # type: ignore[attr-defined]
    assert tree_with(monkeypatch, FAST, text) == tree_with(monkeypatch, plain_parser(), text)


TRICKS = [
    "a: &x 1",
    "a: *x",
    "a: 1\na: 2",
    "<<: {b: 1}",
    "a: !!int 1",
    "a: 1\n---\nb: 2",
    "",
    "'a': \"b\"\nc: >-\n  d\n",
]


@needs_fast
@pytest.mark.parametrize("text", TRICKS)
def test_the_same_refusals(monkeypatch: pytest.MonkeyPatch, text: str) -> None:
    assert tree_with(monkeypatch, FAST, text) == tree_with(monkeypatch, plain_parser(), text)
