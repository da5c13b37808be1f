"""The car and its order in words: what a person said, and whether the modules say the same. Pure."""

from __future__ import annotations

from asleft.event.body import JobOpened
from asleft.model.module import PictureKind

from .parts import Cell, Events, Fact, fact
from .traced import Traced
from .words import Words

_KINDS = (PictureKind.AS_RECEIVED, PictureKind.AS_FOUND, PictureKind.AS_LEFT)


def order_text(order: str, w: Words) -> str:
    """The order's words; they are the customer's, so a redacted copy leaves them out."""
    return w("redacted") if w.redacted and order else order or w("car.not-said")


def car_text(record: Traced, w: Words) -> str:
    """Make, model and year as a person gave them."""
    car = record.state.vehicle
    if car is None:
        return w("car.not-said")
    return " ".join(p for p in (car.make, car.model, str(car.year or "")) if p) or w("car.not-said")


def vin_facts(record: Traced, w: Words) -> list[Fact]:
    """The VIN as a person read it from the plate, its check digit, and whether the modules say the same."""
    opened, body = record.last(JobOpened)
    if body is None:
        return []
    vin = body.vehicle.vin
    check = w(f"vin.{vin.check.value}")
    rows = [fact(w("vin"), f"{vin.text} ({check})" if vin.text else check, opened)]
    return [*rows, _vin_match(record, vin.text, w)]


def _vin_match(record: Traced, typed: str, w: Words) -> Fact:
    read: dict[str, tuple[str, Events]] = {}
    for kind in _KINDS:
        numbers, picture = record.picture(kind)
        for module in picture.modules if picture else ():
            if vin := module.value("vin"):
                before = read.get(module.address.name, ("", ()))[1]
                read[module.address.name] = (vin, (*before, *numbers))
    events = tuple(dict.fromkeys(n for _, ns in read.values() for n in ns))
    if not read:
        return fact(w("vin.match"), Cell(w("vin.match.not-read"), "open"))
    other = next(((m, v) for m, (v, _) in read.items() if v.strip() != typed), None)
    if other:
        return fact(w("vin.match"), Cell(w("vin.match.no", module=other[0], vin=other[1]), "fail"), events)
    return fact(w("vin.match"), w("vin.match.yes", modules=", ".join(read)), events)
