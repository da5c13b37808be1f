"""The table of key numbers on page 1: received, found, left or proof, limit, uncertainty, verdict. Pure.

Three kinds of lines: what a module has learned, live readings that a customer's car is known by, and the criteria of
the proof. Nothing is computed here but U = 2 u.
"""

from __future__ import annotations

from asleft.model.module import Item, PictureKind
from asleft.model.numbers import with_unit
from asleft.model.reading import Quality, Reading
from asleft.model.verdict import Rule

from .parts import Cell, Events, Row, Table, row
from .phrases import item_text, reading_text, short_limits, verdict_cell
from .traced import Traced
from .words import Words

_KINDS = (PictureKind.AS_RECEIVED, PictureKind.AS_FOUND, PictureKind.AS_LEFT)
#: Readings worth a line on page 1, in this order; the others, and those that were nought each time (an engine that
#: stands), stand in the details.
KEY_SIGNALS = (
    "engine-speed",
    "mass-air-flow",
    "throttle-absolute",
    "short-term-trim-1",
    "long-term-trim-1",
    "control-module-voltage",
)
_MOST, _MOST_LEARNED = 11, 2
#: Those that are left out last when there are too many.
_FIRST = ("fail", "cannot-tell", "pass", "")


def key_numbers(record: Traced, w: Words) -> Table:
    """The table: what was learned, then what was judged, then readings as far as there is room.

    Of too many criteria those that failed or cannot be told are kept, then the others in their order.
    """
    learned, criteria, readings = _learned(record, w), _criteria(record, w), _readings(record, w)
    every = (*learned, *criteria, *readings)
    learned = learned[:_MOST_LEARNED]
    worst = sorted(criteria, key=lambda r: _FIRST.index(r.cells[-1].mark))[: _MOST - len(learned)]
    kept = [r for r in criteria if r in worst]
    readings = readings[: max(0, _MOST - len(learned) - len(kept))]
    rows = [*learned, *readings, *kept]
    if left := [r for r in every if r not in rows]:
        events = tuple(n for r in left for n in r.events)
        rows.append(row(w("more", count=len(left)), "", "", "", "", "", "", events=events))
    head = ("quantity", "as-received", "as-found", "as-left-or-proof", "limit", "uncertainty", "verdict")
    widths = (8, 3, 3, 4, 5, 3, 5)
    return Table(w("numbers.title"), tuple(w(h) for h in head), widths, tuple(rows), w("numbers.none"))


def _criteria(record: Traced, w: Words) -> list[Row]:
    rows: list[Row] = []
    for _, started in record.runs:
        for numbers, judged in record.judged(started.run):
            verdict = Cell("–") if judged.rule is Rule.REPORT_ONLY else verdict_cell(judged.verdict)
            value = "–" if judged.value is None else w.n.value(judged.value, judged.limits.unit, judged.u or 0.0)
            u = "–" if judged.u is None else w.n.expanded(judged.u, judged.limits.unit)
            name = _quantity(judged.name, judged.limits.unit, w)
            rows.append(row(name, "", "", value, short_limits(judged, w), u, verdict, events=numbers))
    return rows


def _learned(record: Traced, w: Words) -> list[Row]:
    found: dict[tuple[str, str], dict[PictureKind, Item]] = {}
    numbers: dict[PictureKind, Events] = {}
    for kind in _KINDS:
        numbers[kind], picture = record.picture(kind)
        for module in picture.modules if picture else ():
            for item in module.learned:
                found.setdefault((module.address.name, item.key), {})[kind] = item
    rows: list[Row] = []
    for (module, _), items in found.items():
        units = {i.unit for i in items.values() if i.absence is None}
        unit = units.pop() if len(units) == 1 else ""
        name = _quantity(f"{next(iter(items.values())).name}, {module}", unit, w)
        texts = [_item(items[k], unit, w) if k in items else _missing(record, k, w) for k in _KINDS]
        events = tuple(n for k in items for n in numbers[k])
        rows.append(row(name, *texts, w("reported"), "–", "–", events=events))
    return rows


def _readings(record: Traced, w: Words) -> list[Row]:
    found: dict[str, dict[PictureKind, Reading]] = {}
    numbers: dict[PictureKind, Events] = {}
    for kind in _KINDS:
        numbers[kind], picture = record.picture(kind)
        for reading in picture.readings if picture else ():
            if reading.value is not None:
                found.setdefault(reading.signal, {})[kind] = reading
    rows: list[Row] = []
    for signal in (s for s in KEY_SIGNALS if any(r.value for r in found.get(s, {}).values())):
        readings = found[signal]
        units = {r.unit for r in readings.values()}
        unit = units.pop() if len(units) == 1 else ""
        texts = [_reading(readings[k], unit, w) if k in readings else _missing(record, k, w) for k in _KINDS]
        worst = max(readings.values(), key=lambda r: r.u)
        u = w.n.expanded(worst.u, worst.unit)
        u = u if unit else with_unit(u, worst.unit)
        events = tuple(n for k in readings for n in numbers[k])
        rows.append(row(_quantity(signal_name(signal), unit, w), *texts, w("reported"), u, "–", events=events))
    return rows


def _quantity(name: str, unit: str, w: Words) -> str:
    return f"{name} {w.n.unit(unit)}".rstrip()


def _item(item: Item, unit: str, w: Words) -> str:
    text = item_text(Item(item.key, item.name, item.value, "" if item.value else item.raw, item.unit, item.absence), w)
    return w.n.text(item.value) if unit and item.value and item.absence is None else text


def _reading(reading: Reading, unit: str, w: Words) -> str:
    if not unit or reading.value is None or reading.quality is not Quality.GOOD:
        return reading_text(reading, w)
    return w.n.value(reading.value, unit, reading.u)


def signal_name(signal: str) -> str:
    """Words for a signal's slug: ``engine-speed`` is ``engine speed``."""
    return signal.replace("-", " ")


def _missing(record: Traced, kind: PictureKind, w: Words) -> str:
    picture = record.picture(kind)[1]
    return w("not-taken") if picture is None or picture.not_taken else "–"
