"""What was corrected later: the event that was wrong, what is right, who says so and why. Pure."""

from __future__ import annotations

from asleft.event import body as b
from asleft.event.envelope import type_of

from .parts import Cell, Line, Row, Section, Table, row
from .phrases import wall_text
from .traced import Traced
from .words import Words


def amendments(record: Traced, w: Words) -> list[Section]:
    """The corrections in order; none where nothing was corrected."""
    rows: list[Row] = []
    for event, body in record.of(b.Corrected):
        wrong = record.events[body.event - 1] if 0 < body.event <= len(record.events) else None
        kind = type_of(wrong.body) if wrong else w("amended.unknown")
        cells = (
            f"{body.event}: {kind}",
            Cell(w.said(body.message), "open"),
            body.reason,
            f"{body.by}, {wall_text(event.wall, event.wall_trust, w)}",
        )
        rows.append(row(*cells, events=(*((body.event,) if wrong else ()), event.sequence)))
    head = tuple(w(f"amended.{h}") for h in ("what", "right", "why", "who"))
    return [Section(w("amended.title"), (Table("", head, (4, 6, 4, 5), tuple(rows)),))] if rows else []


def amended_note(record: Traced, w: Words) -> list[Line]:
    """One sentence for page 1: that something on it was corrected."""
    numbers = record.numbers(b.Corrected)
    word = "amended.note-one" if len(numbers) == 1 else "amended.note"
    return [Line(w(word, count=len(numbers)), numbers, "open")] if numbers else []
