"""Page 1: one page for the customer, in plain words. Pure.

Long lists are cut here with a line that says so; the details hold everything.
"""

from __future__ import annotations

import msgspec

from asleft.event.body import (
    JobClosed,
    JobOpened,
    NeedsFound,
)
from asleft.model.fact import FactKey
from asleft.model.module import PictureKind
from asleft.model.origin import Origin

from .car import car_text, order_text, vin_facts
from .keynumbers import key_numbers
from .parts import Cell, Fact, Facts, Front, Line, Lines, Row, Table, fact, row
from .phrases import code_text, wall_text
from .stated import short_fact
from .still_open import open_lines
from .text import everywhere, shortened
from .traced import Traced
from .verdicts import Outcome, not_run, outcome_cell, outcomes, result_word
from .words import Words

_MOST = {"done": 6, "functions": 8, "open": 8, "codes": 6}
_SENTENCE = 220
_CELL = 240
_KINDS = (PictureKind.AS_RECEIVED, PictureKind.AS_FOUND, PictureKind.AS_LEFT)


def front(record: Traced, head_hash: str, attached: bool, w: Words) -> Front:
    """Page 1 of the report."""
    found = outcomes(record, w)
    still_open = open_lines(record, found, w)
    page = Front(
        facts=_facts(record, w),
        done=_done(record, w),
        result=_result(record, found, len(still_open), w),
        functions=_functions(record, found, w),
        numbers=key_numbers(record, w),
        numbers_note=w("numbers.note"),
        codes=_codes(record, w),
        still_open=_cut_lines(w("open.title"), still_open, _MOST["open"], w("open.none"), w),
        statement=_statement(record, w),
        check=_check(head_hash, attached, w),
    )
    return _short(page)


def _facts(record: Traced, w: Words) -> Facts:
    numbers, opened = record.last(JobOpened)
    closing, closed = record.last(JobClosed)
    rows = [fact(w("car"), car_text(record, w), numbers), *vin_facts(record, w)]
    for key in (FactKey.PLATE, FactKey.ODOMETER_IN, FactKey.ODOMETER_OUT, FactKey.COMPLAINT):
        rows += short_fact(record, key, w)
    if opened is not None:
        start = record.events[numbers[0] - 1]
        if opened.order:
            rows.append(fact(w("order"), order_text(opened.order, w), numbers))
        rows.append(fact(w("opened"), wall_text(start.wall, start.wall_trust, w), numbers))
    if closed is not None:
        end = record.events[closing[0] - 1]
        rows.append(fact(w("closed"), wall_text(end.wall, end.wall_trust, w), closing))
    else:
        rows.append(fact(w("closed"), Cell(w("not-closed"), "open")))
    return Facts("", tuple(rows))


def _done(record: Traced, w: Words) -> Lines:
    numbers, opened = record.last(JobOpened)
    lines = [Line(item.text, numbers) for item in (opened.work_items if opened else ())]
    return _cut_lines(w("done.title"), lines, _MOST["done"], w("done.none"), w)


def _result(record: Traced, found: list[Outcome], still_open: int, w: Words) -> Line:
    word, mark = result_word(record, found)
    text = w(word)
    if still_open:
        text += " " + (w("result.open-one") if still_open == 1 else w("result.open", count=still_open))
    events = tuple(dict.fromkeys(n for o in found for n in o.events))
    return Line(text, events if found else (record.events[-1].sequence,), mark)


def _functions(record: Traced, found: list[Outcome], w: Words) -> Table:
    needs = record.numbers(NeedsFound)[-1:]
    rows: list[Row] = []
    for outcome in found:
        started = outcome.started
        name = started.name
        if outcome.attempts > 1:
            name += f" ({w('attempt', number=outcome.attempt, total=outcome.attempts)})"
        sentence = outcome.sentence
        if outcome.stated and outcome.contradicts:
            sentence = w("run.contradiction", stated=outcome.stated.value) + " " + sentence
        cells = (name, way_text(started.way, w), outcome_cell(outcome, w), shortened(sentence, _SENTENCE))
        rows.append(row(*cells, events=outcome.events))
    for need in not_run(record):
        word = "not-done.not-run" if need.procedure else "not-done.no-procedure"
        said = w(word, grade=w(f"grade.{need.grade.value}"))
        rows.append(row(need.name, "", Cell(w("not-done"), "open"), said, events=needs))
    head = (w("function"), w("way"), w("verdict"), w("plain-words"))
    return Table(w("functions.title"), head, (5, 2, 4, 7), _cut(rows, _MOST["functions"], w), w("functions.none"))


def way_text(way: str, w: Words) -> str:
    """One of our ways in words; an unknown one as it stands on the record."""
    return w(f"way.{way}") if w.knows(f"way.{way}") else way


def _codes(record: Traced, w: Words) -> Table:
    head = tuple(w(k.value) for k in _KINDS)
    cells: list[Cell] = []
    events: list[int] = []
    for kind in _KINDS:
        numbers, picture = record.picture(kind)
        events += numbers
        if picture is None or picture.not_taken:
            cells.append(Cell(w("not-taken"), "open"))
            continue
        texts = [f"{code_text(c, w)} – {c.module}" for c in picture.codes]
        if len(texts) > _MOST["codes"]:
            texts = [*texts[: _MOST["codes"]], w("more", count=len(texts) - _MOST["codes"])]
        texts = texts or [w("codes.none" if any(m.responded for m in picture.modules) else "codes.nothing-read")]
        silent = [m.address.name for m in picture.modules if not m.responded or m.codes_absence]
        if silent:
            texts.append(w("codes.not-read", modules=", ".join(silent)))
        cells.append(Cell("\n".join(texts)))
    rows = (row(*cells, events=tuple(events)),)
    return Table(w("codes.title"), head, (1, 1, 1), rows)


def _statement(record: Traced, w: Words) -> Facts:
    numbers, closed = record.last(JobClosed)
    replay = Origin.REPLAY in record.origins
    word = "scope.draft" if closed is None else "scope.replay" if replay else "scope"
    rows = [fact(w("scope.title"), w(word))]
    if closed is not None and w.said(closed.statement).startswith(w(word)):
        rows = []  # the statement says it
    if closed is None:
        rows.append(fact(w("performed-by"), Cell(w("performed-by.nobody"), "open")))
        return Facts("", tuple(rows))
    rows.append(fact(w("statement"), w.said(closed.statement), numbers))
    rows.append(fact(w("performed-by"), closed.performed_by or w("not-said"), numbers))
    for key in (FactKey.SECOND_PERSON, FactKey.APPROVER, FactKey.ACKNOWLEDGED):
        rows += short_fact(record, key, w)
    released = Cell(w("yes")) if closed.released else Cell(w("no"), "open")
    rows.append(Fact(w("released"), released, numbers))
    return Facts("", tuple(rows))


def _check(head_hash: str, attached: bool, w: Words) -> Facts:
    how = f"{w('head.how')} {w('head.attached' if attached else 'head.not-attached')} {w('head.proves')}"
    return Facts(w("head.title"), (fact(w("head"), Cell(head_hash, "bytes")), fact("", how)))


def _cut(rows: list[Row], most: int, w: Words) -> tuple[Row, ...]:
    if len(rows) <= most:
        return tuple(rows)
    left = rows[most - 1 :]
    events = tuple(n for r in left for n in r.events)
    return (*rows[: most - 1], row(w("more", count=len(left)), "", "", "", events=events))


def _cut_lines(title: str, lines: list[Line], most: int, empty: str, w: Words) -> Lines:
    if len(lines) > most:
        left = lines[most - 1 :]
        events = tuple(n for line in left for n in line.events)
        lines = [*lines[: most - 1], Line(w("more", count=len(left)), events, "open")]
    short = tuple(Line(shortened(line.text, _SENTENCE), line.events, line.mark) for line in lines)
    return Lines(title, short, empty)


def _short(page: Front) -> Front:
    """The page with every text of a record cut to what a line or two can hold; our own words in ``check`` stay."""
    data = everywhere(msgspec.to_builtins(page), lambda text: shortened(text, _CELL))
    return msgspec.structs.replace(msgspec.convert(data, Front), check=page.check, numbers_note=page.numbers_note)
