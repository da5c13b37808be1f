"""A procedure's criteria on a link: what it gives over some time; a bench car in virtual time."""

from __future__ import annotations

import asyncio
from pathlib import Path
from urllib.parse import parse_qsl

from asleft.bench.bus import InLoopBus
from asleft.bench.cars.petrol import PetrolCar
from asleft.job.clock import LoopClock, real_clock, run_virtual
from asleft.job.looking import record_signals
from asleft.job.proofs import criteria_of, prove, signals_of
from asleft.link.address import make_any_link
from asleft.link.bus_link import BusLink
from asleft.model.errors import Code, InputError
from asleft.model.origin import Origin
from asleft.model.reading import Series
from asleft.model.verdict import Judgement
from asleft.proof.criterion_data import Criterion

PREFIX = "bench:petrol"


def prove_on_link(procedure: Path, address: str, seconds: float) -> tuple[tuple[Judgement, ...], Origin]:
    """Record what a procedure's criteria need, read only, and judge it.

    Args:
        address: ``bench:petrol?seed=2`` (a warm idle), or of a real link, such as
            ``can:socketcan:can0?bitrate=500000``: the car as it stands, driven by whoever is at it.
        seconds: of recording, s.
    Returns: judgements and the origin that the link says of itself.
    Raises: InputError: link-address-bad, procedure-bad, procedure-missing. LinkError: no-bus, link-lost.
    """
    text = address.strip()
    if text.startswith("bench:"):
        return prove_on_bench(procedure, text, seconds), Origin.BENCH
    return asyncio.run(_real(criteria_of(procedure), text, seconds))


async def _real(criteria: tuple[Criterion, ...], address: str, seconds: float) -> tuple[tuple[Judgement, ...], Origin]:
    clock = real_clock()
    link = make_any_link(address, clock)
    series = await record_signals(link, clock, signals_of(criteria), seconds)
    return prove(criteria, series), link.origin


def prove_on_bench(procedure: Path, address: str, seconds: float) -> tuple[Judgement, ...]:
    """Record a warm idle of the petrol car and judge it by a procedure's criteria.

    Args: address: ``bench:petrol?seed=2``. seconds: of recording, s.
    Raises: InputError: link-address-bad, procedure-bad, procedure-missing.
    """
    criteria = criteria_of(procedure)
    if not address.startswith(PREFIX):
        raise InputError(Code.LINK_ADDRESS_BAD, f"{address}: write {PREFIX}?seed=NUMBER, or give a recording")
    seed = dict(parse_qsl(address.partition("?")[2])).get("seed", "1")
    if not seed.isdigit():
        raise InputError(Code.LINK_ADDRESS_BAD, f"{address}: a seed is a whole number")
    series = run_virtual(lambda clock: _idle(clock, int(seed), signals_of(criteria), seconds))
    return prove(criteria, series)


async def _idle(clock: LoopClock, seed: int, signals: tuple[str, ...], seconds: float) -> dict[str, Series]:
    bus = InLoopBus(clock)
    car = PetrolCar(seed=seed, warm=True)
    car.attach(bus, clock)
    car.act("key", position="on")
    await clock.sleep_until(2.0)
    car.act("key", position="start")
    await clock.sleep_until(200.0)
    try:
        return await record_signals(BusLink(bus, clock), clock, signals, seconds)
    finally:
        car.detach()
