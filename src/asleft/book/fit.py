"""Whether a procedure is for a car: what differs, and what is not known of the car. Pure.

Only where nothing differs and nothing needed is unknown may it run by wire. Propulsion and kind of throttle are held
against the car only where they are known: the function itself asks for them.
"""

from __future__ import annotations

from collections.abc import Iterator

import msgspec

from asleft.model.message import Message, say
from asleft.model.work import Vehicle

from .procedure import Applies, ModuleNumbers, Propulsion, Throttle


class CarFacts(msgspec.Struct, frozen=True):
    """What is known of a car beyond its order.

    Attributes:
        engine: engine code; empty: not known. propulsion, throttle: None: not known.
        numbers: part and software numbers that its modules gave.
    """

    engine: str = ""
    propulsion: Propulsion | None = None
    throttle: Throttle | None = None
    numbers: tuple[ModuleNumbers, ...] = ()


_NOTHING = CarFacts()


def differs(applies: Applies, vehicle: Vehicle, facts: CarFacts | None = None) -> tuple[Message, ...]:
    """What of a procedure's applicability does not agree with the car, or is not known of it."""
    return tuple(_differs(applies, vehicle, facts or _NOTHING))


def _differs(applies: Applies, vehicle: Vehicle, facts: CarFacts) -> Iterator[Message]:
    if not applies.make:
        yield say("book.no-make", "it is for no make by itself")
    named = (("make", applies.make, vehicle.make), ("model", applies.model, vehicle.model))
    for what, wanted, given in (*named, ("engine", applies.engine, facts.engine)):
        if wanted and plain(wanted) != plain(given):
            told = "{what}: it is for {wanted}, not {given}"
            yield say("book.other", told, what=what, wanted=wanted, given=given or "(not given)")
    yield from _kinds(applies, facts)
    yield from _years(applies, vehicle.year)
    yield from other_numbers(applies, facts)


def _kinds(applies: Applies, facts: CarFacts) -> Iterator[Message]:
    pairs = (("propulsion", applies.propulsion, facts.propulsion), ("throttle", applies.throttle, facts.throttle))
    for what, wanted, known in pairs:
        if wanted is not None and known is not None and wanted is not known:
            told = "{what}: it is for {wanted}, not {given}"
            yield say("book.other", told, what=what, wanted=wanted.value, given=known.value)


def _years(applies: Applies, year: int | None) -> Iterator[Message]:
    if applies.years is None:
        return
    first, last = applies.years
    if year is None:
        told = "model year not given; it is for {first} to {last}"
        yield say("book.year-unknown", told, first=first, last=last)
    elif not first <= year <= last:
        yield say("book.year", "model year {year}; it is for {first} to {last}", year=year, first=first, last=last)


def other_numbers(applies: Applies, facts: CarFacts) -> Iterator[Message]:
    """One of the pairs must be there exactly; a pair without a software number takes any."""
    if not applies.numbers or any(wanted.meets(found) for wanted in applies.numbers for found in facts.numbers):
        return
    wanted = ", ".join(n.text for n in applies.numbers)
    if not facts.numbers:
        told = "the module's numbers are not read yet; it is for {wanted}"
        yield say("book.numbers-unknown", told, wanted=wanted)
        return
    given = ", ".join(n.text for n in facts.numbers)
    yield say("book.numbers", "module numbers {given}; it is for {wanted}", given=given, wanted=wanted)


def plain(text: str) -> str:
    """Without case and spaces."""
    return "".join(text.casefold().split())
