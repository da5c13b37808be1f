"""Facts that no module tells, by group; what is not on the record is named as missing. Pure."""

from __future__ import annotations

from asleft.event.body import FactStated
from asleft.model.fact import Fact as Stated
from asleft.model.fact import FactKey
from asleft.model.numbers import with_unit

from .parts import Block, Cell, Fact, Facts, Line, Lines, Section, fact
from .traced import Traced
from .words import Words

K = FactKey
HEADER = (K.WORKSHOP_ADDRESS, K.WORKSHOP_LICENCE, K.CUSTOMER, K.AMENDS, K.PREVIOUS_RECORD)
CAR = (K.PLATE, K.ODOMETER_IN, K.ODOMETER_OUT, K.PROPULSION, K.VARIANT, K.TYRES)
REQUEST = (K.COMPLAINT, K.WORK_BY, K.PART_FITTED, K.DECLINED)
TOOLS = (
    K.INTERFACE,
    K.INTERFACE_FIRMWARE,
    K.INTERFACE_CHECKED,
    K.PROGRAM_DIGEST,
    K.CLOCK_ERROR,
    K.GAUGE,
    K.OTHER_TESTER,
    K.MODULE_REPORT,
)
ROAD = tuple(k for k in K if k.value.startswith("road-"))
ADVICE = (K.ADVISORY, K.FOLLOW_UP)
PEOPLE = (K.SECOND_PERSON, K.APPROVER, K.ACKNOWLEDGED)
#: Left out of a redacted paper: they name or find a person.
PERSONAL = frozenset(
    {
        K.CUSTOMER,
        K.PLATE,
        K.ODOMETER_IN,
        K.ODOMETER_OUT,
        K.COMPLAINT,
        K.ROAD_DRIVER,
        K.ROAD_OBSERVER,
        K.ACKNOWLEDGED,
    }
)


def stated(record: Traced, keys: tuple[FactKey, ...], w: Words) -> list[Fact]:
    """Lines for the facts of these keys that are on the record, in the order of the keys, then of the events."""
    rows: list[Fact] = []
    for key in keys:
        for event, body in record.of(FactStated, lambda b, k=key: b.fact.key is k):
            text = w("redacted") if w.redacted and key in PERSONAL else fact_text(body.fact, w)
            rows.append(fact(w(f"fact.{key.value}"), text, (event.sequence,)))
    return rows


def fact_text(said: Stated, w: Words) -> str:
    """``84 112 km (declared; cluster display; photo SHA-256 …)``."""
    behind = [w(f"evidence.{said.evidence.value}")]
    if said.source:
        behind.append(said.source)
    if said.digest:
        behind.append(w("fact.digest", digest=said.digest))
    return f"{with_unit(w.n.text(said.text) if said.unit else said.text, said.unit)} ({'; '.join(behind)})"


def missing(record: Traced, keys: tuple[FactKey, ...], w: Words) -> list[Block]:
    """One line naming those of the keys that are not on the record."""
    there = {body.fact.key for _, body in record.of(FactStated)}
    absent = ", ".join(w(f"fact.{k.value}") for k in keys if k not in there)
    return [Lines("", (Line(w("fact.missing", names=absent)),))] if absent else []


def group(record: Traced, keys: tuple[FactKey, ...], title: str, w: Words) -> list[Block]:
    """Facts of one group and what is missing of it."""
    rows = tuple(stated(record, keys, w))
    return [*([Facts(title, rows)] if rows else []), *missing(record, keys, w)]


def road_test(record: Traced, w: Words) -> Section:
    """The road test, or that there is none on the record."""
    rows = tuple(stated(record, ROAD, w))
    if not rows:
        return Section(w("road.title"), (Lines("", (), w("road.none")),))
    return Section(w("road.title"), (Facts("", rows), *missing(record, ROAD, w)))


def short_fact(record: Traced, key: FactKey, w: Words) -> list[Fact]:
    """One line for page 1 without how it is known; the last statement stands."""
    numbers, body = record.last(FactStated, lambda b: b.fact.key is key)
    if body is None:
        return []
    said = body.fact
    text = w("redacted") if w.redacted and key in PERSONAL else with_unit(said.text, said.unit)
    return [fact(w(f"fact.{key.value}"), Cell(text), numbers)]
