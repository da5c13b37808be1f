"""``look`` and ``listen`` at a link by its address: a bench car, a recording, or whatever the address leads to.

``bench:CAR?seed=NUMBER&over=can|kline|doip``: CAN and K-line in virtual time, DoIP over loopback in real time.
"""

from __future__ import annotations

import asyncio
import contextlib
import signal
from collections.abc import Callable, Generator
from pathlib import Path
from typing import NamedTuple
from urllib.parse import parse_qsl

import msgspec

from asleft.bench.bus import InLoopBus
from asleft.bench.car import BenchCar
from asleft.bench.client import HostedCar
from asleft.bench.garage import make_car
from asleft.bench.kline import KLine
from asleft.bench.kwp import KwpModule
from asleft.job.clock import LoopClock, real_clock, run_virtual
from asleft.job.listening import Heard, listen_to
from asleft.job.looking import look_at, look_at_recording
from asleft.link.address import make_any_link
from asleft.link.bus_link import BusLink
from asleft.link.doip import DoipLink
from asleft.link.kline import KLineLink
from asleft.link.listening import ListenOnly, listening_link
from asleft.model.errors import Code, InputError
from asleft.model.module import ModuleAddress, Picture
from asleft.model.origin import Origin
from asleft.ports.bus import Link
from asleft.ports.messages import MessageLink
from asleft.talk.modules import MappedModule, ModuleMap
from asleft.talk.overhearing import HeardExchange

from .scene import ALDRA

BENCH = "bench:"
LOG = "log:"
RECORDING = "recording:"
#: The key is on for so long before anything is asked, s.
_READY_S = 3.0
#: Bench cars on a K-line; the others are on CAN.
_ON_KLINE = frozenset({"cable"})

Save = tuple[Path, str]


class BenchAddress(NamedTuple):
    """Which bench car, over what."""

    car: str
    seed: int
    over: str


def look(address: str, save: Save | None = None, agreed_by: str = "") -> tuple[Picture, Origin]:
    """Picture of the car at an address: ``bench:petrol?seed=2``, ``can:socketcan:can0?bitrate=500000``, ``log:FILE`` …

    Args:
        save: folder and stem of files that keep what went over the link.
        agreed_by: who agreed that further addresses are searched for modules; empty: none are.
    Raises: InputError: the address or the file cannot be used. LinkError: no-bus, link-lost. RunError (gate-closed): a
        search with the engine running or the car moving.
    """
    text = address.strip()
    if agreed_by and text.startswith((RECORDING, LOG)):
        raise InputError(Code.LINK_ADDRESS_BAD, "a recording cannot be searched for further modules", address)
    if text.startswith(RECORDING):
        return run_virtual(lambda clock: look_at_recording(Path(text.removeprefix(RECORDING)), clock)), Origin.REPLAY
    if text.startswith(LOG):
        heard = listen(text, lambda _: None, save=save)
        return heard.picture, heard.origin
    if not text.startswith(BENCH):
        return asyncio.run(_real(text, save, agreed_by))
    bench = parse_bench(text)
    if bench.over == "doip":
        return asyncio.run(_bench_doip(bench, save, agreed_by))
    return run_virtual(lambda clock: _bench(clock, bench, save, agreed_by)), Origin.BENCH


def listen(
    address: str, tell: Callable[[HeardExchange], None], *, seconds: float | None = None, save: Save | None = None
) -> Heard:
    """Listen beside another tester, sending nothing; ``bench:CAR`` lets our own *look* be the other tester.

    Args: tell: told every exchange as it ends. seconds: longest time, s; None: until the end or Ctrl-C.
    Raises: InputError: the address or the file cannot be used. LinkError: no-bus, link-lost.
    """
    text = address.strip()
    if text.startswith(BENCH):
        bench = parse_bench(text)
        if bench.over != "can":
            raise InputError(Code.LINK_ADDRESS_BAD, "listening is for CAN", address)
        return run_virtual(lambda clock: _bench_heard(clock, bench, tell, save))
    if text.startswith(LOG):
        return run_virtual(lambda clock: listen_to(listening_link(text, clock), clock, tell, save=save))
    return asyncio.run(_really_listen(text, tell, seconds, save))


def parse_bench(address: str) -> BenchAddress:
    """Read ``bench:CAR?seed=NUMBER&over=can|kline|doip``. Raises InputError (link-address-bad)."""
    name, _, query = address.removeprefix(BENCH).partition("?")
    options = dict(parse_qsl(query))
    seed = options.pop("seed", "1")
    over = options.pop("over", "kline" if name in _ON_KLINE else "can")
    if options or not seed.isdigit() or over not in ("can", "kline", "doip"):
        raise InputError(Code.LINK_ADDRESS_BAD, f"{address}: write bench:CAR?seed=NUMBER&over=can, kline or doip")
    if (over == "kline") != (name in _ON_KLINE):
        what = f"the {name} car is on {'a K-line' if name in _ON_KLINE else 'CAN, and on DoIP'}"
        raise InputError(Code.LINK_ADDRESS_BAD, what, address)
    return BenchAddress(name, int(seed), over)


def _map_of(name: str, car: BenchCar) -> ModuleMap:
    """What the workshop knows of a bench car: its note on the petrol car, the line addresses of one on a K-line."""
    if name == "petrol":
        return ALDRA
    on_line = [module for module in car.modules if isinstance(module, KwpModule)]
    return ModuleMap(tuple(MappedModule(ModuleAddress(m.name, m.target, m.target)) for m in on_line))


def _on_doip(addresses: dict[str, int]) -> ModuleMap:
    """The same note with logical addresses, as the bench tells them."""
    return ModuleMap(
        tuple(
            msgspec.structs.replace(ALDRA.at(m.address), address=ModuleAddress(m.address.name, at, at))
            for m in ALDRA.modules
            if (at := addresses.get(m.address.name)) is not None
        )
    )


async def _bench(clock: LoopClock, bench: BenchAddress, save: Save | None, agreed_by: str) -> Picture:
    bus, line = InLoopBus(clock), KLine(clock)
    car = make_car(bench.car, bench.seed)
    car.attach(bus, clock, line)
    car.act("key", position="on")
    await clock.sleep_until(_READY_S)
    link: Link | MessageLink = KLineLink(line, clock) if bench.over == "kline" else BusLink(bus, clock)
    try:
        return await look_at(link, clock, _map_of(bench.car, car), save, agreed_by)
    finally:
        car.detach()


async def _bench_doip(bench: BenchAddress, save: Save | None, agreed_by: str) -> tuple[Picture, Origin]:
    """What comes over a network counts as a vehicle, whatever stands behind it: the link says so, not we."""
    clock = real_clock()
    async with HostedCar(bench.car, seed=bench.seed, doip=True) as hosted:
        await hosted.driver.act("key", position="on")
        await clock.sleep_until(clock.now() + _READY_S)
        link = DoipLink("127.0.0.1", clock, int(hosted.doip["tcp"]))
        return await look_at(link, clock, _on_doip(hosted.doip["modules"]), save, agreed_by), link.origin


async def _bench_heard(
    clock: LoopClock, bench: BenchAddress, tell: Callable[[HeardExchange], None], save: Save | None
) -> Heard:
    bus = InLoopBus(clock)
    car = make_car(bench.car, bench.seed)
    car.attach(bus, clock)
    car.act("key", position="on")
    await clock.sleep_until(_READY_S)
    over = asyncio.Event()
    ear = ListenOnly(BusLink(bus, clock, node_name="listener"))
    hearing = asyncio.ensure_future(listen_to(ear, clock, tell, save=save, stop=over))
    try:
        await clock.sleep_until(clock.now())
        await look_at(BusLink(bus, clock), clock, _map_of(bench.car, car))
        over.set()
        return await hearing
    finally:
        hearing.cancel()
        car.detach()


async def _real(address: str, save: Save | None, agreed_by: str) -> tuple[Picture, Origin]:
    clock = real_clock()
    link = make_any_link(address, clock)
    return await look_at(link, clock, ModuleMap(), save, agreed_by), link.origin


@contextlib.contextmanager
def _on_interrupt(stop: asyncio.Event) -> Generator[None]:
    """Ctrl-C ends listening as its time would: what was heard is told."""
    loop = asyncio.get_running_loop()
    with contextlib.suppress(NotImplementedError):
        loop.add_signal_handler(signal.SIGINT, stop.set)
    try:
        yield
    finally:
        with contextlib.suppress(NotImplementedError):
            loop.remove_signal_handler(signal.SIGINT)


async def _really_listen(
    address: str, tell: Callable[[HeardExchange], None], seconds: float | None, save: Save | None
) -> Heard:
    clock = real_clock()
    stop = asyncio.Event()
    with _on_interrupt(stop):
        return await listen_to(listening_link(address, clock), clock, tell, seconds=seconds, save=save, stop=stop)
