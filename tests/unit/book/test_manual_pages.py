"""Every number that a procedure of the demo book cites stands on the cited page of its invented manual."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from asleft.book.loader import LoadedProcedure, read_procedure
from asleft.book.procedure import SourceKind
from asleft.book.trust import NO_PAGE, Number, from_page
from asleft.proof.criterion_more import LearnedRoom

REPO = Path(__file__).parents[3]
DATA = REPO / "src" / "asleft" / "book" / "data"
MANUALS = REPO / "docs" / "manual-pages"
#: Settings of our own measuring: how long a condition is watched before it counts, when its loss is believed, how often
#: the hands may try. No manual prints them where only the value matters, as on these older pages.
MEASURING = (
    "hold-s",
    "debounce-s",
    "leave-low",
    "leave-high",
    "seconds",
    "minutes",
    "cycles",
    "resolution",
    "accuracy",
)
OLDER = {"aldra-1.6-body", "aldra-1.6-idle", "aldra-1.6-throttle"}
NUMBER = re.compile(r"(?<![\w.])-?\d+(?:\.\d+)?(?![\w.]*\w)")
PAGE = re.compile(r"\d+-\d+")


def procedures() -> list[LoadedProcedure]:
    found = [read_procedure(path.read_bytes(), path.stem) for path in sorted(DATA.glob("*.yaml"))]
    return [one for one in found if one.procedure.source.kind is SourceKind.FICTIONAL]


ALL = procedures()
BY_NAME = {one.procedure.id: one for one in ALL}
NAMES = tuple(BY_NAME)


def title_of(path: Path) -> str:
    lines = path.read_text(encoding="utf-8").splitlines()
    return next(line for line in lines if line.startswith("# "))


def manual_for(loaded: LoadedProcedure) -> Path:
    """The one file of this make and model whose title names the page."""
    procedure = loaded.procedure
    car = f"{procedure.applies.make} {procedure.applies.model}"
    page = procedure.source.page
    fits = [p for p in sorted(MANUALS.glob("*.md")) if car in title_of(p) and page in PAGE.findall(title_of(p))]
    assert len(fits) == 1, f"{procedure.id}: page {page} of {car} stands in {[p.name for p in fits]}"
    return fits[0]


def plain(text: str) -> str:
    return re.sub(r"\s+", " ", text.replace("−", "-").replace("–", "-"))


def section(text: str, page: str) -> str:
    """The text of one page, where the file has headings for pages; else all of it."""
    parts = dict(re.findall(r"^## Page (\S+)\n(.*?)(?=^## |\Z)", text, re.MULTILINE | re.DOTALL))
    return parts[page] if parts else text


def page_of(loaded: LoadedProcedure, number: Number) -> str:
    """The page that is cited for a number: its own, the identifier's, else empty: any page of the source."""
    procedure, path = loaded.procedure, number.path
    if path[0] == "entry" and isinstance(path[1], int):
        cited = procedure.entry[path[1]].source
    elif path[0] == "criteria" and isinstance(path[1], int):
        limits = getattr(procedure.criteria[path[1]], "limits", None)
        cited = limits.source if limits is not None else ""
    elif path[0] == "identifier" and procedure.identifier is not None:
        cited = procedure.identifier.where
    else:
        return ""
    found = PAGE.search(cited)
    return found.group() if found else ""


def stands(number: Number, text: str) -> bool:
    """As a number of the same value, whatever zeros follow; as the same word where it is no number."""
    printed = plain(text)
    try:
        wanted = float(number.text)
    except ValueError:
        return number.text in printed
    return any(float(found) == wanted for found in NUMBER.findall(printed))


def prints_all(text: str) -> bool:
    return "| Held for |" in text or "This page only reads" in text


def cited(loaded: LoadedProcedure, text: str) -> list[Number]:
    numbers = from_page(loaded)
    if prints_all(text):
        return [n for n in numbers if not n.place.endswith(".state")]
    steps = tuple(n for n in numbers if n.path[0] in {"entry", "identifier"})
    return [n for n in steps if not n.place.endswith(MEASURING)]


@pytest.mark.parametrize("name", NAMES)
def test_each_number_stands_on_its_page(name: str) -> None:
    loaded = BY_NAME[name]
    manual = manual_for(loaded)
    text = manual.read_text(encoding="utf-8")
    missing = [
        f"{n.place}: {n.text} (page {page_of(loaded, n)})"
        for n in cited(loaded, text)
        if not stands(n, section(text, page_of(loaded, n)) if page_of(loaded, n) else text)
    ]
    assert not missing


@pytest.mark.parametrize("name", NAMES)
def test_what_is_quoted_as_printed_is_printed(name: str) -> None:
    loaded = BY_NAME[name]
    text = plain(manual_for(loaded).read_text(encoding="utf-8")).casefold()
    measured = [c for c in loaded.procedure.entry if c.signal and not c.source.startswith(NO_PAGE)]
    printed = [c.printed for c in measured]
    printed += [c.limits.printed for c in loaded.procedure.criteria if getattr(c, "limits", None) and c.limits.printed]
    assert [one for one in printed if not all(word in text for word in re.split(r"[,;] ", plain(one).casefold()))] == []


@pytest.mark.parametrize("name", NAMES)
def test_tables_and_windows_of_the_module_are_printed(name: str) -> None:
    loaded = BY_NAME[name]
    procedure, manual = loaded.procedure, manual_for(loaded)
    text = manual.read_text(encoding="utf-8")
    table = re.search(r"table \S+", procedure.identifier.where) if procedure.identifier else None
    assert table is None or table.group().casefold() in text.casefold()
    for row in procedure.identifier.rows if procedure.identifier else ():
        line = row.row.rpartition("line ")[2]
        wanted = rf"\| {line} \| {row.part_number} \| {row.software_number} \| {row.identifier} \|"
        assert re.search(wanted, text), f"{row.row}: {wanted}"
    windows = [c.window for c in procedure.criteria if isinstance(c, LearnedRoom)] if prints_all(text) else []
    numbers = {float(n) for n in NUMBER.findall(plain(text))}
    assert [w for w in windows if not set(w) <= numbers] == []


@pytest.mark.parametrize("name", NAMES)
def test_screening_lists_are_those_of_the_page(name: str) -> None:
    loaded = BY_NAME[name]
    text = manual_for(loaded).read_text(encoding="utf-8")
    screening = loaded.procedure.screening
    codes = [part for code in (*screening.block, *screening.expected) for part in code.split("..")]
    if prints_all(text):
        assert [code for code in codes if code not in text] == []


def test_each_invented_page_says_that_it_is_invented_and_is_cited() -> None:
    cited_files = {manual_for(one) for one in ALL}
    for path in sorted(MANUALS.glob("*.md")):
        assert "invented" in path.read_text(encoding="utf-8").casefold(), path.name
        assert path in cited_files, path.name
    for one in ALL:
        first = (DATA / f"{one.procedure.id}.yaml").read_text(encoding="utf-8").partition("\n")[0]
        assert f"docs/manual-pages/{manual_for(one).name}" in first, one.procedure.id


@pytest.mark.parametrize("name", NAMES)
def test_another_number_would_be_missed(name: str) -> None:
    """The test can fail: a number that no page has is not found there."""
    loaded = BY_NAME[name]
    text = manual_for(loaded).read_text(encoding="utf-8")
    changed = [Number(n.path, f"{float(n.text) + 0.037}") for n in from_page(loaded) if n.text.lstrip("-").isdigit()]
    assert changed
    assert not [n for n in changed if stands(n, text)]
