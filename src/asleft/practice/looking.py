"""``look`` at a link by its address: a bench car in virtual time, or whatever the address leads to."""

from __future__ import annotations

import asyncio
from urllib.parse import parse_qsl

from asleft.bench.bus import InLoopBus
from asleft.bench.garage import make_car
from asleft.job.clock import LoopClock, real_clock, run_virtual
from asleft.job.looking import look_at
from asleft.link.address import make_any_link
from asleft.link.bus_link import BusLink
from asleft.model.errors import Code, InputError
from asleft.model.module import Picture
from asleft.model.origin import Origin
from asleft.talk.modules import ModuleMap

from .scene import ALDRA

BENCH = "bench:"


def look(address: str) -> tuple[Picture, Origin]:
    """Picture of the car at an address: ``bench:petrol?seed=2``, ``can:socketcan:can0?bitrate=500000`` …

    Raises: InputError: the address cannot be used. LinkError: no-bus, link-lost.
    """
    if address.startswith(BENCH):
        return run_virtual(lambda clock: _bench(clock, address)), Origin.BENCH
    return asyncio.run(_real(address))


async def _bench(clock: LoopClock, address: str) -> Picture:
    name, _, query = address.removeprefix(BENCH).partition("?")
    options = dict(parse_qsl(query))
    seed = options.pop("seed", "1")
    if options or not seed.isdigit():
        raise InputError(Code.LINK_ADDRESS_BAD, f"{address}: write bench:CAR?seed=NUMBER")
    bus = InLoopBus(clock)
    car = make_car(name, int(seed))
    car.attach(bus, clock)
    car.act("key", position="on")
    await clock.sleep_until(3.0)
    try:
        return await look_at(BusLink(bus, clock), clock, ALDRA if name == "petrol" else ModuleMap())
    finally:
        car.detach()


async def _real(address: str) -> tuple[Picture, Origin]:
    clock = real_clock()
    link = make_any_link(address, clock)
    return await look_at(link, clock, ModuleMap()), link.origin
