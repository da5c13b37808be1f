"""The lines of a report's view with the numbers of their events."""

from __future__ import annotations

from collections.abc import Iterator

from asleft.report.parts import Facts, Figures, Lines, Table, View


def blocks(v: View) -> Iterator[Table | Facts | Lines | Figures]:
    """Every block of page 1 and of the details, in order."""
    f = v.front
    yield from (f.facts, f.done, Lines("", (f.result,)), f.functions, f.numbers, f.codes, f.still_open, f.statement)
    for section in v.sections:
        yield from section.blocks


def lines(v: View) -> Iterator[tuple[str, tuple[int, ...]]]:
    """Every line's text with its event numbers."""
    for block in blocks(v):
        match block:
            case Table():
                yield from ((" | ".join(c.text for c in r.cells), r.events) for r in block.rows)
            case Facts():
                yield from ((f.value.text, f.events) for f in block.rows)
            case Lines():
                yield from ((line.text, line.events) for line in block.rows)
            case Figures():
                yield from ((f.caption, f.events) for f in block.figures)
