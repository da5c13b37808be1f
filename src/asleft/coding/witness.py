"""Who says what an option is: two must agree before it is written, else a person is asked.

Source: common practice, no source: three witnesses (the car's equipment, other modules, the coding as received).
"""

from __future__ import annotations

from collections.abc import Iterable
from enum import StrEnum, unique

import msgspec

from .layout import Layout, Option
from .values import Value, words_of


@unique
class WitnessKind(StrEnum):
    """Closed set. ``FOUND`` is the fitted module itself; ``PAPER`` was typed twice from a document."""

    EQUIPMENT = "equipment"
    NEIGHBOUR = "neighbour"
    AS_RECEIVED = "as-received"
    FOUND = "found"
    PAPER = "paper"


class Witness(msgspec.Struct, frozen=True):
    """One statement about one option. ``who``: module, picture, person or document."""

    option: str
    kind: WitnessKind
    value: Value
    who: str


class Proposal(msgspec.Struct, frozen=True):
    """What is proposed for an option, and why.

    Attributes:
        value: None: the witnesses contradict each other, or there is none.
        agreed: two of different kinds say the same and none says otherwise.
    """

    option: str
    value: Value | None
    agreed: bool
    why: str


def propose(layout: Layout, witnesses: Iterable[Witness]) -> tuple[Proposal, ...]:
    """One proposal an option, in the layout's order. A fitted module counts as a witness like the others."""
    said: dict[str, list[Witness]] = {}
    for witness in witnesses:
        said.setdefault(witness.option, []).append(witness)
    return tuple(_one(option, said.get(option.id, [])) for option in layout.options)


def _one(option: Option, said: list[Witness]) -> Proposal:
    if not said:
        return Proposal(option.id, None, agreed=False, why="nobody says")
    lines = "; ".join(f"{w.who}: {words_of(option, w.value)}" for w in said)
    values = {w.value for w in said}
    if len(values) > 1:
        return Proposal(option.id, None, agreed=False, why=f"they contradict each other: {lines}")
    kinds = {w.kind for w in said}
    sources = kinds if kinds != {WitnessKind.NEIGHBOUR} else {w.who for w in said}
    return Proposal(option.id, said[0].value, agreed=len(sources) > 1, why=lines)
