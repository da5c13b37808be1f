"""How fast conversations are, as ratios: to what the bus bounds, and to a tuned sequential client in the same run.

Run: .venv/bin/python benchmarks/talk_speed.py [--seeds N] [--json]

A bit-timed in-loop bus at 500 kbit/s, virtual time; every seed is another car with 48 modules, of each six identifiers
of 8 to 30 bytes and its trouble codes, 3 to 25 ms latency, one silent, one refusing, four with response pending. The
bound is the bus time of all frames of the true answers, or the slowest module's chain (tests/kit/fleet.py). Complete
means: every answer and every refusal equal to the car's truth, and the silent module found silent. Medians of seeds.
Figures hold for these simulated cars only.
"""

from __future__ import annotations

import argparse
import asyncio
import contextlib
import json
import statistics
import sys
import time
import tracemalloc
from collections import deque
from collections.abc import Callable, Coroutine
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "tests"))

import msgspec
import udsoncan
from udsoncan.client import Client
from udsoncan.connections import BaseConnection

from asleft.bench.bus import InLoopBus
from asleft.bench.can_bits import INTERFRAME_BITS, frame_bits
from asleft.bench.gateway import Overload
from asleft.bench.transport import IsoTpNode, TransportSettings
from asleft.job.clock import LoopClock, run_virtual
from asleft.job.virtual import VirtualLoop
from asleft.live.mapped import MappedSignal
from asleft.live.sampler import LinkSignals
from asleft.model.errors import AsleftError
from asleft.model.frame import CanFrame
from asleft.model.module import ModuleAddress
from asleft.model.origin import ClockKind
from asleft.model.reading import Signal
from asleft.talk.conversations import Conversations
from asleft.talk.errors import ModuleRefused, ModuleSilent
from asleft.talk.identifiers import IdentifierReader
from asleft.talk.modules import Form, MappedItem
from asleft.talk.pace import CarPace
from asleft.talk.settings import TalkSettings
from kit.fake_module import FakeModule, open_link
from kit.fleet import CODES_REQUEST, IDENTIFIERS, Fleet, exchange_bits

GENTLE = TalkSettings(in_flight=4, in_flight_most=4)
PROVED = TalkSettings(in_flight=24, in_flight_most=24)
LIMITS = (4, 8, 16, None)


async def read_one_by_one(talk: Conversations, fleet: Fleet) -> list[dict[bytes, bytes]]:
    """Every request on its own, all modules at once."""

    async def module(address: ModuleAddress) -> dict[bytes, bytes]:
        got: dict[bytes, bytes] = {}
        for request in fleet.requests:
            try:
                got[request] = await talk.ask(address, request)
            except ModuleRefused as error:
                got[request] = bytes((0x7F, request[0], error.refusal))
            except ModuleSilent:
                return got
        return got

    return await asyncio.gather(*(module(m.address) for m in fleet.modules))


async def read_grouped(talk: Conversations, fleet: Fleet) -> list[dict[bytes, bytes]]:
    """Identifiers as many at once as a module takes."""

    async def module(address: ModuleAddress) -> dict[bytes, bytes]:
        reader = IdentifierReader(talk, address, talk.pace_of(address))
        found = await reader.read(IDENTIFIERS)
        talk.remember(address, reader.pace)
        got: dict[bytes, bytes] = {}
        for did, data in found.items():
            request = b"\x22" + did.to_bytes(2, "big")
            if isinstance(data, bytes):
                got[request] = b"\x62" + request[1:] + data
            elif data.refusal is not None:
                got[request] = bytes((0x7F, 0x22, data.refusal))
        if not reader.silent:
            try:
                got[CODES_REQUEST] = await talk.ask(address, CODES_REQUEST)
            except ModuleRefused as error:
                got[CODES_REQUEST] = bytes((0x7F, 0x19, error.refusal))
        return got

    return await asyncio.gather(*(module(m.address) for m in fleet.modules))


class Run:
    """One reading of one car: time, bound, whether it was complete, what the car proved."""

    def __init__(self, seconds: float, bound_s: float, complete: bool, proved: CarPace) -> None:
        self.seconds, self.bound_s, self.complete, self.proved = seconds, bound_s, complete, proved

    @property
    def ratio(self) -> float:
        return self.seconds / self.bound_s


def read_car(
    seed: int,
    settings: TalkSettings,
    limit: int | None = None,
    overload: Overload = Overload.DROP,
    known: CarPace | None = None,
    *,
    grouped: bool = False,
) -> Run:
    async def main(clock: LoopClock) -> Run:
        fleet = Fleet(clock, seed, limit=limit, overload=overload)
        await fleet.ready()
        link = await open_link(fleet.bus, clock)
        async with Conversations(link, clock, lambda _: None, settings=settings, known=known or CarPace()) as talk:
            begun_s = clock.now()
            got = await (read_grouped if grouped else read_one_by_one)(talk, fleet)
            seconds = clock.now() - begun_s
            complete = all(g == m.answers for g, m in zip(got, fleet.modules, strict=True))
            fleet.stop()
            return Run(seconds, fleet.bound_s(), complete, talk.proved)

    return run_virtual(main)


class VirtualConnection(BaseConnection):
    """udsoncan's connection on can-isotp and the in-loop bus: its waits move virtual time."""

    def __init__(self, loop: VirtualLoop, clock: LoopClock, fleet: Fleet, address: ModuleAddress) -> None:
        super().__init__("sequential")
        self._loop, self._clock = loop, clock
        self._answers: deque[bytes] = deque()
        settings = TransportSettings(address.response_id, address.request_id, block_size=0)
        self._node = IsoTpNode(fleet.bus, clock, settings, lambda data, _f: self._answers.append(data), name="uds")

    def open(self) -> VirtualConnection:
        return self

    def close(self) -> None:
        self._node.leave()

    def is_open(self) -> bool:
        return True

    def empty_rxqueue(self) -> None:
        self._answers.clear()

    def specific_send(self, payload: bytes, timeout: float | None = None) -> None:  # noqa: ARG002 - udsoncan's form
        self._node.send(payload)

    def specific_wait_frame(self, timeout: float | None = None) -> bytes | None:
        async def wait() -> bytes | None:
            end_s = self._clock.now() + (timeout or 0.0)
            while not self._answers and self._clock.now() < end_s:
                await self._clock.sleep_until(min(end_s, self._clock.now() + 0.0005))
            return self._answers.popleft() if self._answers else None

        return self._loop.run_until_complete(wait())


def read_sequentially(seed: int) -> Run:
    """udsoncan, one request at a time, tuned: no needless waits, time-outs as short as ours."""
    loop = VirtualLoop()

    async def prepare() -> tuple[LoopClock, Fleet]:
        clock = LoopClock(ClockKind.VIRTUAL)
        fleet = Fleet(clock, seed)
        await fleet.ready()
        return clock, fleet

    clock, fleet = loop.run_until_complete(prepare())
    config = dict(udsoncan.configs.default_client_config)
    config |= {"request_timeout": 60, "p2_timeout": 0.2, "p2_star_timeout": 5.0, "use_server_timing": False}
    begun_s, complete = clock.now(), True
    for module in fleet.modules:
        connection = VirtualConnection(loop, clock, fleet, module.address)
        got: dict[bytes, bytes] = {}
        with Client(connection, config=config) as client:
            for request in fleet.requests:
                answer = _ask(client, request)
                if answer is None:
                    break
                got[request] = answer
        complete = complete and got == module.answers
    run = Run(clock.now() - begun_s, fleet.bound_s(), complete, CarPace())
    fleet.stop()
    loop.close()
    return run


def _ask(client: Client, request: bytes) -> bytes | None:
    plain = udsoncan.Request(udsoncan.services.ReadDataByIdentifier, data=request[1:])
    if request[0] == 0x19:
        plain = udsoncan.Request(udsoncan.services.ReadDTCInformation, subfunction=request[1], data=request[2:])
    for _ in range(2):
        try:
            return client.send_request(plain).original_payload
        except udsoncan.exceptions.NegativeResponseException as error:
            return error.response.original_payload
        except udsoncan.exceptions.TimeoutException:
            continue
    return None


def median(runs: list[Run]) -> float:
    return statistics.median(run.ratio for run in runs)


def completeness(seeds: range) -> dict[str, str]:
    """Runs complete and equal to the truth, at every gateway limit and way of refusing."""
    found: dict[str, str] = {}
    for name, settings in (("gentle", GENTLE), ("24 in flight", PROVED)):
        for limit in LIMITS:
            for overload in Overload if limit is not None else (Overload.DROP,):
                runs = [read_car(seed, settings, limit, overload) for seed in seeds]
                gateway = f"gateway {limit}, {overload.value}" if limit else "no gateway"
                longest = max(run.seconds for run in runs)
                found[f"{name}, {gateway}"] = (
                    f"{sum(r.complete for r in runs)} of {len(runs)} complete; "
                    f"median {median(runs):.2f} times the bound; longest {longest:.2f} s"
                )
    return found


def speed(seeds: range) -> dict[str, str]:
    """Ratios to the bound and to the sequential client."""
    sequential = [read_sequentially(seed) for seed in seeds]
    gentle = [read_car(seed, GENTLE) for seed in seeds]
    fresh = [read_car(seed, PROVED) for seed in seeds]
    known = [read_car(seed, PROVED, known=run.proved) for seed, run in zip(seeds, fresh, strict=True)]
    learned = [read_car(seed, PROVED, grouped=True) for seed in seeds]
    grouped = [read_car(seed, PROVED, known=r.proved, grouped=True) for seed, r in zip(seeds, learned, strict=True)]
    times = statistics.median(s.seconds / g.seconds for s, g in zip(sequential, gentle, strict=True))
    every = (sequential, gentle, fresh, known, learned, grouped)
    return {
        "all of these runs complete": str(all(run.complete for runs in every for run in runs)),
        "bound, s": f"{statistics.median(run.bound_s for run in gentle):.3f}",
        "sequential client (udsoncan), times the bound": f"{median(sequential):.1f}",
        "gentle (4 in flight), s (limit 5)": f"{statistics.median(run.seconds for run in gentle):.2f}",
        "gentle, times faster than sequential (limit 3)": f"{times:.1f}",
        "24 in flight, car not known, times the bound (limit 1.4)": f"{median(fresh):.2f}",
        "24 in flight, car known, times the bound (limit 1.15)": f"{median(known):.2f}",
        "24 in flight, car known, identifiers grouped, times the same bound": f"{median(grouped):.2f}",
    }


LIVE = [ModuleAddress(f"live {n}", 0x500 + 2 * n, 0x501 + 2 * n) for n in range(4)]
LIVE_LATENCY_S = (0.003, 0.008, 0.015, 0.025)
LIVE_S = 20.0


def live() -> dict[str, str]:
    """Twenty identifiers of four modules: samples a second, as a share of what the modules' latencies allow."""
    found: dict[str, str] = {}
    for name, most in (("one by one", 1), ("grouped", 16)):
        samples, bound = run_virtual(lambda clock, most=most: _sample(clock, most))
        share = f"{samples / bound:.3f} ({samples / LIVE_S:.0f} a second)"
        found[f"live, {name}: share of the bound (limit 0.95)"] = share
    return found


async def _sample(clock: LoopClock, most: int) -> tuple[int, float]:
    bus = InLoopBus(clock)
    link = await open_link(bus, clock)
    mapped: list[MappedSignal] = []
    bound = 0.0
    for address, latency_s in zip(LIVE, LIVE_LATENCY_S, strict=True):
        dids = [0x4C00 + 16 * LIVE.index(address) + n for n in range(5)]
        FakeModule(bus, clock, address, _live_module(latency_s), block_size=0)
        for did in dids:
            signal = Signal(f"signal-{did:04X}", f"{did:04X}", "count", 0, 65535, 1)
            item = MappedItem(signal.id, signal.name, did, Form.NUMBER, 0, 2, unit="count")
            mapped.append(MappedSignal(signal, address, item))
        group = dids if most > 1 else dids[:1]
        request = b"\x22" + b"".join(did.to_bytes(2, "big") for did in group)
        answer = b"\x62" + b"".join(did.to_bytes(2, "big") + b"\x12\x34" for did in group)
        bound += len(group) * LIVE_S / (latency_s + exchange_bits(address, request, answer) / 500_000)
    async with Conversations(link, clock, lambda _: None, settings=PROVED) as talk:
        signals = LinkSignals(talk, clock, least_period_s=0.0, mapped=mapped)
        names = [entry.signal.id for entry in mapped]
        await signals.read(names)
        if most == 1:
            signals.one_by_one()
        series = await signals.record(names, LIVE_S)
    return sum(len(s) for s in series), bound


def _live_module(latency_s: float):
    def script(request: bytes) -> list[tuple[float, bytes]]:
        dids = [request[i : i + 2] for i in range(1, len(request), 2)]
        return [(latency_s, b"\x62" + b"".join(did + b"\x12\x34" for did in dids))]

    return script


def processor(seeds: range) -> dict[str, str]:
    """Processor time of the client against a bare loop that only sends and receives the same frames.

    Both run on the same bus against a player of the modules' recorded frames; the bus and the player are in both.
    """
    shares: list[float] = []
    for seed in seeds:
        frames, truth = _frames_of(seed)
        ours = _processor(lambda clock, f=frames, t=truth: _read_from_player(clock, f, t))
        bare = _processor(lambda clock, f=frames: _only_frames(clock, f))
        shares.append(ours / bare)
    return {"client's processor time against a bare loop of the same frames": f"{statistics.median(shares):.2f}"}


def _processor(work: Callable[[LoopClock], Coroutine[None, None, None]]) -> float:
    best = float("inf")
    for _ in range(3):
        begun = time.process_time()
        run_virtual(work)
        best = min(best, time.process_time() - begun)
    return best


def _frames_of(seed: int) -> tuple[list[CanFrame], Fleet]:
    """All frames of one complete reading, times from its begin."""

    async def main(clock: LoopClock) -> tuple[list[CanFrame], Fleet]:
        fleet = Fleet(clock, seed)
        await fleet.ready()
        heard: list[CanFrame] = []
        fleet.bus.join("tap", heard.append)
        link = await open_link(fleet.bus, clock)
        async with Conversations(link, clock, lambda _: None, settings=PROVED) as talk:
            zero_s = clock.now()
            await read_one_by_one(talk, fleet)
        fleet.stop()
        return [msgspec.structs.replace(f, time_s=(f.time_s or 0.0) - zero_s) for f in heard], fleet

    return run_virtual(main)


def _play(bus: InLoopBus, clock: LoopClock, frames: list[CanFrame]) -> None:
    """The modules' frames, each beginning when it began."""
    far = bus.join("far", lambda _frame: None)
    zero_s = clock.now()
    for frame in frames:
        plain = CanFrame(frame.id, frame.data)
        begin_s = zero_s + (frame.time_s or 0.0) - (frame_bits(frame.id, frame.data) - INTERFRAME_BITS) / bus.bitrate
        clock.call_at(begin_s, lambda plain=plain: far.send(plain))


async def _read_from_player(clock: LoopClock, frames: list[CanFrame], truth: Fleet) -> None:
    bus = InLoopBus(clock)
    link = await open_link(bus, clock)
    async with Conversations(link, clock, lambda _: None, settings=PROVED) as talk:
        _play(bus, clock, [frame for frame in frames if frame.id % 2])
        got = await read_one_by_one(talk, truth)
    if not all(g == m.answers for g, m in zip(got, truth.modules, strict=True)):
        raise SystemExit("the player was not in step with the client")


async def _only_frames(clock: LoopClock, frames: list[CanFrame]) -> None:
    bus = InLoopBus(clock)
    link = await open_link(bus, clock)
    heard: list[CanFrame] = []
    link.listen(heard.append)
    _play(bus, clock, [frame for frame in frames if frame.id % 2])
    zero_s = clock.now()
    for frame in frames:
        if frame.id % 2 == 0:
            await clock.sleep_until(zero_s + (frame.time_s or 0.0) - 0.0003)
            link.send(CanFrame(frame.id, frame.data))
    await clock.sleep_until(zero_s + (frames[-1].time_s or 0.0) + 0.1)


def memory() -> dict[str, str]:
    """Growth of memory over an hour of virtual time: live values all the while, a picture's requests every minute."""

    async def main(clock: LoopClock) -> tuple[int, int]:
        bus = InLoopBus(clock)
        link = await open_link(bus, clock)
        FakeModule(bus, clock, LIVE[0], _live_module(0.01)).heard = deque(maxlen=1)  # type: ignore[assignment]
        sizes: list[int] = []
        async with Conversations(link, clock, lambda _: None, settings=PROVED) as talk:
            for minute in range(60):
                end_s = clock.now() + 60.0
                number = 0
                while clock.now() < end_s:
                    await talk.ask(LIVE[0], bytes((0x22, 0x4C, number % 200)))
                    number += 1
                    if minute % 10 == 5 and number % 50 == 0:
                        with contextlib.suppress(AsleftError):
                            await talk.ask(LIVE[1], b"\x22\xf1\x90")
                    await clock.sleep_until(clock.now() + 0.05)
                sizes.append(tracemalloc.get_traced_memory()[0])
        return sizes[9], sizes[-1]

    tracemalloc.start()
    early, late = run_virtual(main)
    tracemalloc.stop()
    grown = f"{late / early:.3f} ({late - early:+d} bytes)"
    return {"memory after an hour of virtual time against after ten minutes": grown}


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--seeds", type=int, default=20)
    parser.add_argument("--json", action="store_true")
    parser.add_argument("--only", choices=["complete", "speed", "live", "processor", "memory"])
    options = parser.parse_args()
    seeds = range(options.seeds)
    parts = {
        "complete": lambda: completeness(seeds),
        "speed": lambda: speed(seeds),
        "live": live,
        "processor": lambda: processor(range(min(5, options.seeds))),
        "memory": memory,
    }
    found: dict[str, str] = {}
    for name, part in parts.items():
        if options.only in (None, name):
            found |= part()
    if options.json:
        print(json.dumps(found, indent=1))
        return
    for name, value in found.items():
        print(f"{name}: {value}")


if __name__ == "__main__":
    main()
