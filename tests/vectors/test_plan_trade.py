"""The trade's tables beside our data: functions, order rules, triggers. Skips where the document is absent.

What is compared is the document's own table, row by row; the numbers and slugs must not drift from it.
"""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from asleft.book.edges import ORDER_EDGES, POINTS
from asleft.book.functions import FUNCTIONS, Kind
from asleft.model.work import Grade
from asleft.plan.work_rows import WORK_ROWS

LETTERS = {
    "E": Kind.ENGINE,
    "D": Kind.DRIVELINE,
    "B": Kind.CHASSIS,
    "R": Kind.RESTRAINT,
    "A": Kind.ASSISTANCE,
    "C": Kind.BODY,
    "N": Kind.NETWORK,
    "H": Kind.HIGH_VOLTAGE,
}
SHORT = {
    "programming": "programming-prereq",
    "coding": "module-coding",
    "immobiliser": "immobiliser-key",
    "pedal": "pedal-rest-learn",
    "throttle": "throttle-stop-learn",
    "idle": "idle-relearn",
    "crank": "crank-tooth-learn",
    "misfire": "misfire-adapt",
    "trims": "fuel-trim-reset",
    "epb": "epb-service-position",
    "sas": "sas-zero",
    "yaw": "yaw-accel-zero",
    "eps": "eps-torque-zero",
    "tpms": "tpms-learn",
    "oil reset": "service-interval-reset",
    "lamps": "headlamp-level",
    "gear-position": "gear-position-learn",
    "fitted modules": "fitted-module-list",
    "isolation": "hv-isolation",
}


@pytest.fixture(scope="module")
def trade(checks: Path) -> str:
    path = checks.parent / "trade" / "TRADE.md"
    if not path.is_file():
        pytest.skip("the trade document is not beside the check data")
    return path.read_text(encoding="utf-8")


def section(text: str, begin: str, end: str) -> str:
    return text[text.index(begin) : text.index(end, text.index(begin))]


def rows(text: str) -> list[list[str]]:
    lines = [line for line in text.splitlines() if line.startswith("| ")]
    return [[cell.strip() for cell in line.strip("|").split("|")] for line in lines]


def test_every_function_with_class_risk_and_phases(trade: str) -> None:
    table = {r[0]: r for r in rows(section(trade, "### 2.9", "### 2.10")) if r[0] in FUNCTIONS}
    assert set(table) == set(FUNCTIONS)
    assert len(table) == 53
    for slug, (_, letter, risk, _, _, phase, *_) in table.items():
        function = FUNCTIONS[slug]
        assert function.kind is LETTERS[letter], slug
        assert function.risk == int(risk), slug
        named = {int(p.replace("H", "1")) if p.startswith("H") else int(p) for p in re.findall(r"H?\d", phase)}
        ours = {p.phase for p in function.parts}
        extra = {8} if "road" in table[slug][3] else set[int]()
        assert named <= ours <= named | extra, slug


def test_every_order_rule(trade: str) -> None:
    table = [r for r in rows(section(trade, "### 2.10", "**Overrides.**")) if r[2] in {"hard", "soft"}]
    ours = [(e.before, e.after, e.kind.value) for e in ORDER_EDGES]
    assert len(table) == len(ours)
    for (before, after, kind, _), mine in zip(table, ours, strict=True):
        assert kind == mine[2]
        for theirs, name in ((before, mine[0]), (after, mine[1])):
            assert theirs == name or (theirs.split("/")[0] not in FUNCTIONS and name in POINTS)


def test_every_minute_lies_in_the_printed_range(trade: str) -> None:
    table = {r[0]: r[4] for r in rows(section(trade, "### 2.9", "### 2.10")) if r[0] in FUNCTIONS}
    for slug, printed in table.items():
        numbers = [float(n) for n in re.findall(r"\d+", printed)]
        total = sum(p.active_min for p in FUNCTIONS[slug].parts)
        most = max(*numbers, sum(numbers))
        shortest = 10 if slug == "camera-aim-static" else 0.5 * min(numbers)
        assert shortest <= total <= most * 1.5, slug


def trigger_rows(trade: str) -> list[list[str]]:
    return [r for r in rows(section(trade, "## 3. Work done", "**Mixed alphabets")) if r[0].isdigit()]


def test_every_trigger_row_is_there(trade: str) -> None:
    table = trigger_rows(trade)
    assert [int(r[0]) for r in table] == [r.number for r in WORK_ROWS]


def functions_in(cell: str) -> set[str]:
    found: set[str] = set()
    for slug in sorted(FUNCTIONS, key=len, reverse=True):
        if slug in cell:
            found.add(slug)
            cell = cell.replace(slug, "")
    for word in re.split(r"[,;→&+]", cell):
        plain = re.sub(r"\(.*?\)", "", word).strip()
        if plain in SHORT:
            found.add(SHORT[plain])
    return found


def test_every_function_a_row_requires_is_called_for(trade: str) -> None:
    for cells, ours in zip(trigger_rows(trade), WORK_ROWS, strict=True):
        called = {c.function for c in ours.calls}
        for name in ours.also:
            called |= {c.function for r in WORK_ROWS if r.id == name for c in r.calls}
        assert functions_in(cells[2]) <= called, cells
        assert functions_in(cells[3]) <= called | functions_in(cells[2]) | {f for f, _ in ours.not_needed}, cells


def words_of(slug: str) -> set[str]:
    """First word of a slug and of its short forms: how a cell names it inside a longer phrase."""
    return {slug.split("-", maxsplit=1)[0], *(short.split()[0] for short, whole in SHORT.items() if whole == slug)}


def test_no_row_requires_more_than_the_table(trade: str) -> None:
    for cells, ours in zip(trigger_rows(trade), WORK_ROWS, strict=True):
        required = {c.function for c in ours.calls if c.grade is Grade.REQUIRED}
        text = cells[2]
        spelt = {
            f for f in required if f in functions_in(text) or words_of(f) & set(re.findall(r"[a-z]+", text.lower()))
        }
        assert required == spelt, (cells, required - spelt)
