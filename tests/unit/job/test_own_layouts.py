"""Layouts of codings from the workshop's own folder: found, checked like the program's, refused where not usable."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from asleft.book.dry_run import dry_run
from asleft.book.layouts import OWN_LAYOUTS, own_layout, use_own_layouts
from asleft.book.procedure import Way
from asleft.book.shelf import Book
from asleft.job.books import dry_run_of, lint_files
from asleft.job.own_book import with_own
from asleft.job.settings import BOOK
from asleft.model.errors import InputError

LAYOUT = (OWN_LAYOUTS / "body-aldra.yaml").read_text()
PROCEDURE = (BOOK / "body-coding-aldra.yaml").read_text()


@pytest.fixture
def own(tmp_path: Path) -> Iterator[Path]:
    """A workshop's folder of procedures with a layout of its own, and a procedure that names it."""
    (tmp_path / "layouts").mkdir()
    layout = LAYOUT.replace("id: body-aldra", "id: body-own").replace('identifier: "0x3B30"', 'identifier: "0x3B31"', 1)
    (tmp_path / "layouts" / "body-own.yaml").write_text(layout)
    procedure = PROCEDURE.replace("layout: body-aldra", "layout: body-own").replace("id: body-coding-aldra", "id: own")
    (tmp_path / "own.yaml").write_text(procedure)
    yield tmp_path
    use_own_layouts(tmp_path / "nowhere")


def test_an_own_layout_is_found_by_an_own_procedure_and_decides_the_bytes(own: Path) -> None:
    book = with_own(Book(), own)
    assert not book.problems
    procedure = book.procedure("own").procedure
    sends = [s for line in dry_run(procedure, Way.BY_WIRE, coding=bytes(20)) for s in line.sends]
    assert "2E3B31" + "00" * 20 in sends


def test_one_with_the_programs_id_replaces_it(own: Path) -> None:
    (own / "layouts" / "body-aldra.yaml").write_text(LAYOUT.replace("revision: 1", "revision: 7"))
    with_own(Book(), own)
    assert own_layout("body-aldra").revision == 7
    use_own_layouts(own / "nowhere")
    assert own_layout("body-aldra").revision == 1


def test_a_bad_layout_is_among_the_problems_with_its_line_and_its_procedure_is_not_used(own: Path) -> None:
    bad = (own / "layouts" / "body-own.yaml").read_text().replace("at: 0, bit: 4, bits: 4", "at: 0, bits: 4")
    (own / "layouts" / "body-own.yaml").write_text(bad)
    book = with_own(Book(), own)
    assert {remark.file for remark in book.problems} >= {"body-own.yaml", "own.yaml"}
    assert all(remark.line for remark in book.problems)
    assert not book.procedures


def test_the_commands_find_the_layouts_beside_the_file(own: Path) -> None:
    assert not [r for r in lint_files([own / "own.yaml"]) if r.code == "layout"]
    lines = dry_run_of(own / "own.yaml", "by-wire", "", "00" * 20)
    assert any("2E3B31" in send for line in lines for send in line.sends)


def test_without_it_the_procedure_says_what_is_missing(own: Path) -> None:
    (own / "layouts" / "body-own.yaml").unlink()
    with pytest.raises(InputError, match="layout"):
        dry_run_of(own / "own.yaml", "by-wire", "")
