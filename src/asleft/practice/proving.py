"""A procedure's criteria on a link: what it gives over some time; a bench car in virtual time."""

from __future__ import annotations

import asyncio
from pathlib import Path
from urllib.parse import parse_qsl

from asleft.bench.bus import InLoopBus
from asleft.bench.cars.petrol import PetrolCar
from asleft.book.car_map import CarMap, load_car_map
from asleft.job.clock import LoopClock, real_clock, run_virtual
from asleft.job.looking import record_signals
from asleft.job.proof_sources import typed_values
from asleft.job.proofs import criteria_of, prove, signals_of
from asleft.link.address import make_any_link
from asleft.link.bus_link import BusLink
from asleft.model.errors import Code, InputError
from asleft.model.origin import Origin
from asleft.model.reading import Series
from asleft.model.verdict import Judgement

PREFIX = "bench:petrol"


def prove_on_link(
    procedure: Path,
    address: str,
    seconds: float,
    car: Path | None = None,
    typed: Path | None = None,
    keep: Path | None = None,
) -> tuple[tuple[Judgement, ...], Origin]:
    """Record what a procedure's criteria need, read only, and judge it.

    Args:
        car: map of the car whose identifiers and broadcasts are read too.
        typed: file of values read off gauges. keep: file of the recording, which a crash costs some seconds of.
        address: ``bench:petrol?seed=2`` (a warm idle), or of a real link, such as
            ``can:socketcan:can0?bitrate=500000``: the car as it stands, driven by whoever is at it.
        seconds: of recording, s.
    Returns: judgements and the origin that the link says of itself.
    Raises: InputError: link-address-bad, procedure-bad, procedure-missing. LinkError: no-bus, link-lost.
    """
    text = address.strip()
    criteria, found = criteria_of(procedure), load_car_map(car) if car else None
    by_hand = typed_values(typed) if typed else {}
    asked = tuple(s for s in signals_of(criteria) if s not in {t.signal for t in by_hand.get("", ())})
    if text.startswith("bench:"):
        series, origin = _on_bench(text, asked, seconds, found, keep), Origin.BENCH
    else:
        series, origin = asyncio.run(_real(text, asked, seconds, found, keep))
    series |= {one.signal: one for one in by_hand.pop("", ())}
    return prove(criteria, series, by_hand), origin


async def _real(
    address: str, signals: tuple[str, ...], seconds: float, car: CarMap | None, keep: Path | None
) -> tuple[dict[str, Series], Origin]:
    clock = real_clock()
    link = make_any_link(address, clock)
    return await record_signals(link, clock, signals, seconds, car, keep), link.origin


def _on_bench(
    address: str, signals: tuple[str, ...], seconds: float, car: CarMap | None, keep: Path | None
) -> dict[str, Series]:
    """Record a warm idle of the petrol car."""
    if not address.startswith(PREFIX):
        raise InputError(Code.LINK_ADDRESS_BAD, f"{address}: write {PREFIX}?seed=NUMBER, or give a recording")
    seed = dict(parse_qsl(address.partition("?")[2])).get("seed", "1")
    if not seed.isdigit():
        raise InputError(Code.LINK_ADDRESS_BAD, f"{address}: a seed is a whole number")
    return run_virtual(lambda clock: _idle(clock, int(seed), signals, seconds, car, keep))


async def _idle(
    clock: LoopClock, seed: int, signals: tuple[str, ...], seconds: float, found: CarMap | None, keep: Path | None
) -> dict[str, Series]:
    bus = InLoopBus(clock)
    car = PetrolCar(seed=seed, warm=True)
    car.attach(bus, clock)
    car.act("key", position="on")
    await clock.sleep_until(2.0)
    car.act("key", position="start")
    await clock.sleep_until(200.0)
    try:
        return await record_signals(BusLink(bus, clock), clock, signals, seconds, found, keep)
    finally:
        car.detach()
