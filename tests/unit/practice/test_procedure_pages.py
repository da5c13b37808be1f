"""The pages of the demo book's procedures are what the script makes of book, plays and real records."""

from __future__ import annotations

import importlib.util
import re
from pathlib import Path
from types import ModuleType

import pytest

from asleft.book.procedure import Way
from asleft.job.manual import page_html, picture
from asleft.practice.demo_book_all import PLAYS

REPO = Path(__file__).parents[3]
DOCS = REPO / "docs"
AGAIN = "run scripts/make_procedure_pages.py"


def load() -> ModuleType:
    spec = importlib.util.spec_from_file_location("pages", REPO / "scripts" / "make_procedure_pages.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


PAGES = load()
BOOK = PAGES.book()
BY_NAME = {one.procedure.id: one for one in BOOK}
NAMES = tuple(BY_NAME)


def test_texts_are_those_of_the_book_and_its_plays() -> None:
    for path, text in PAGES.texts(BOOK).items():
        assert path.is_file(), f"{path.name}: {AGAIN}"
        assert path.read_text(encoding="utf-8") == text, f"{path.name}: {AGAIN}"
    assert {path.stem for path in (DOCS / "procedures").glob("*.md")} == set(NAMES), AGAIN


def test_the_table_says_of_each_what_its_proof_can_and_cannot_show() -> None:
    table = (DOCS / "procedures.md").read_text(encoding="utf-8")
    rows = {m.group(1): m.group(0) for m in re.finditer(r"^\| \[.*?\]\(procedures/(.*?)\.md\).*$", table, re.MULTILINE)}
    assert set(rows) == set(NAMES)
    for name, row in rows.items():
        cells = [cell.strip() for cell in row.strip("| ").split(" | ")]
        assert len(cells) == 6, name
        assert all(cells[4:]), f"{name}: say in the script what its proof shows and what not"


@pytest.mark.parametrize("name", NAMES)
def test_a_page_says_how_it_can_hurt_and_what_is_sent(name: str) -> None:
    procedure = BY_NAME[name].procedure
    text = (DOCS / "procedures" / f"{procedure.id}.md").read_text(encoding="utf-8")
    flat = re.sub(r"\s+", " ", text)
    for caution in procedure.cautions:
        assert re.sub(r"\s+", " ", caution) in flat
    for way, word in PAGES.WAY_WORDS.items():
        assert (f"### {word.capitalize()}" in text) == (way in procedure.ways.offered)
    starts = [s for s in procedure.ways.steps(Way.BY_WIRE) if type(s).__name__ == "RoutineStart"]
    if starts and procedure.identifier and procedure.identifier.rows:
        digits = procedure.identifier.rows[0].identifier.removeprefix("0x")
        assert f"`31 01 {digits[:2]} {digits[2:]}`" in text
    for how in PLAYS[procedure.id].fails if procedure.id in PLAYS else ():
        assert f"| `{how}` |" in text


def test_each_picture_belongs_to_a_page_and_is_small() -> None:
    for path in (DOCS / "pictures").glob("procedure-*.svg"):
        name = path.stem.removeprefix("procedure-")
        assert f"../pictures/{path.name}" in (DOCS / "procedures" / f"{name}.md").read_text(encoding="utf-8")
        assert path.stat().st_size < 20_000
    assert {name for name in PLAYS if not PAGES.picture_path(name).is_file()} == set(), AGAIN


@pytest.mark.full
@pytest.mark.parametrize("name", [name for name in NAMES if name in PLAYS])
def test_the_picture_is_that_of_a_real_passing_run(name: str) -> None:
    svg = PAGES.picture(BY_NAME[name], PAGES.played(name))
    assert PAGES.picture_path(name).read_text(encoding="utf-8") == svg, AGAIN


@pytest.mark.parametrize("name", NAMES)
def test_it_is_read_without_a_network_too(name: str) -> None:
    assert f'href="/help/{name}"' in page_html("procedures")
    html = page_html(name)
    assert f"<h1>{BY_NAME[name].procedure.name}</h1>" in html
    for found in re.findall(r'src="/help/pictures/([^"]+)"', html):
        assert picture(found).is_file()
