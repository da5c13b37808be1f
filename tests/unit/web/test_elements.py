"""The living page of elements holds every element that the visual language names, and nothing that it does not."""

from __future__ import annotations

import re
from pathlib import Path

from asleft.web.elements import elements_html, judgements
from kit.asgi import get

ROOT = Path(__file__).parents[3]
CSS = (ROOT / "src/asleft/web/static/sheet.css").read_text()


def named() -> set[str]:
    table = (ROOT / "docs/visual-language.md").read_text().split("## Elements")[1].split("## ")[0]
    return set(re.findall(r"^\| ([a-z][a-z-]*) \|", table, re.MULTILINE)) - {"element"}


def test_every_element_is_named_and_shown() -> None:
    assert set(re.findall(r'data-element="([a-z-]+)"', elements_html())) == named()


def test_one_of_each_verdict_is_shown() -> None:
    assert {j.verdict.value for j in judgements()} == {"PASS", "FAIL", "CANNOT_TELL"}
    assert all(f"verdict-{j.verdict.value}" in elements_html() for j in judgements())


def test_every_class_of_the_page_has_a_rule_where_its_kind_has_one() -> None:
    """A new word of a closed set needs its shape."""
    for kind in ("verdict", "state", "screen", "level"):
        for name in set(re.findall(rf'class="{kind} ({kind}-[\w-]+)"', elements_html())):
            assert f".{name}" in CSS, name


def test_it_is_a_page_of_the_help(tmp_path: Path) -> None:
    assert "/help/elements" in get(tmp_path, "/help").text
    assert get(tmp_path, "/help/elements").status_code == 200
    assert get(tmp_path, "/help/visual-language").status_code == 200
