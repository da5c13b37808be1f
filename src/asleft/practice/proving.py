"""A procedure's criteria on a bench car: what its link gives over some time, in virtual time."""

from __future__ import annotations

from pathlib import Path
from urllib.parse import parse_qsl

from asleft.bench.bus import InLoopBus
from asleft.bench.cars.petrol import PetrolCar
from asleft.job.clock import LoopClock, run_virtual
from asleft.job.looking import record_signals
from asleft.job.proofs import criteria_of, prove, signals_of
from asleft.link.bus_link import BusLink
from asleft.model.errors import Code, InputError
from asleft.model.reading import Series
from asleft.model.verdict import Judgement

PREFIX = "bench:petrol"


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
