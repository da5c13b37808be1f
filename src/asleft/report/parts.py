"""What a report is made of: plain, typed, without layout. Every line names the events it was taken from. Pure.

A ``mark`` says what a text is, for its shape and weight on paper: ``pass``, ``fail``, ``cannot-tell``, ``open`` (waits
for somebody), ``bytes`` (hexadecimal), or nothing.
"""

from __future__ import annotations

import msgspec

Events = tuple[int, ...]


class Cell(msgspec.Struct, frozen=True):
    """One text with its mark."""

    text: str
    mark: str = ""


class Row(msgspec.Struct, frozen=True):
    """One line of a table, the sequence numbers of its events, and a note in small letters under the whole line."""

    cells: tuple[Cell, ...]
    events: Events = ()
    note: str = ""


class Table(msgspec.Struct, frozen=True, tag="table"):
    """A table. ``widths``: relative, one a column; ``empty``: what is said when there are no rows."""

    title: str
    head: tuple[str, ...]
    widths: tuple[int, ...]
    rows: tuple[Row, ...]
    empty: str = ""


class Fact(msgspec.Struct, frozen=True):
    """A label and what stands beside it."""

    label: str
    value: Cell
    events: Events = ()


class Facts(msgspec.Struct, frozen=True, tag="facts"):
    """Labels and values, one a line."""

    title: str
    rows: tuple[Fact, ...]


class Line(msgspec.Struct, frozen=True):
    """One sentence."""

    text: str
    events: Events = ()
    mark: str = ""


class Lines(msgspec.Struct, frozen=True, tag="lines"):
    """Sentences, one a line."""

    title: str
    rows: tuple[Line, ...]
    empty: str = ""


class Figure(msgspec.Struct, frozen=True):
    """A picture drawn by ``asleft.figure`` (SVG) with its caption; ``alt`` says in words what it shows."""

    caption: str
    svg: str
    alt: str
    events: Events = ()


class Figures(msgspec.Struct, frozen=True, tag="figures"):
    """Pictures in so many columns."""

    columns: int
    figures: tuple[Figure, ...]


Block = Table | Facts | Lines | Figures


class Section(msgspec.Struct, frozen=True):
    """A heading and what stands under it."""

    title: str
    blocks: tuple[Block, ...]


class Front(msgspec.Struct, frozen=True):
    """Page 1, for the customer.

    Attributes:
        facts: car, VIN, order, dates.
        done: what was done to the car.
        result: the outcome in one plain sentence, with its mark.
        functions: each function, its verdict, a sentence.
        numbers: key numbers; numbers_note: how to read them.
        codes: trouble codes of the three pictures.
        still_open: what stays open.
        statement: scope, who, when.
        check: head hash and how to verify.
    """

    facts: Facts
    done: Lines
    result: Line
    functions: Table
    numbers: Table
    numbers_note: str
    codes: Table
    still_open: Lines
    statement: Facts
    check: Facts


class View(msgspec.Struct, frozen=True):
    """A whole report.

    Attributes:
        language: BCP 47 tag of its words.
        title, subtitle: heading and what stands beside it; status: whether it is finished; draft: it is not.
        watermark: on every page when the data are not a vehicle's, else empty; origin: the word on every page.
        notes: sentences under the heading (draft, bench, replay).
        head_hash: hash of the last event, hexadecimal; generated: issue time as printed.
        labels: fixed words that the layout itself needs.
        letterhead: the workshop's lines under its name, from the profile.
    """

    language: str
    title: str
    subtitle: str
    status: str
    draft: bool
    origin: str
    watermark: str
    notes: tuple[Line, ...]
    workshop: str
    number: str
    vin: str
    head_hash: str
    generated: str
    front: Front
    sections: tuple[Section, ...]
    labels: dict[str, str]
    letterhead: tuple[str, ...] = ()


def row(*cells: str | Cell, events: Events = (), note: str = "") -> Row:
    """A table line of texts and marked texts."""
    return Row(tuple(c if isinstance(c, Cell) else Cell(c) for c in cells), events, note)


def fact(label: str, value: str | Cell, events: Events = ()) -> Fact:
    """A label and its value."""
    return Fact(label, value if isinstance(value, Cell) else Cell(value), events)
