"""A lying, lossy, flooded bus: every exchange ends true or typed, in time, and the link stays usable.

Faults are seeded; the modules run on can-isotp. Every run is in virtual time.
"""

from __future__ import annotations

import asyncio
import contextlib
import random

import pytest

from asleft.bench.bus import InLoopBus
from asleft.bench.bus_faults import Faults, Talker, background_load
from asleft.job.clock import LoopClock, run_virtual
from asleft.model.errors import AsleftError
from asleft.model.frame import CanFrame
from asleft.talk.conversations import Conversations
from kit.fake_module import BRAKES, ENGINE, FakeModule, open_link

RUNS = 12
EXCHANGES = 40
#: Answer or error within this time: two attempts, a transfer that breaks in each, pauses, late answers waited out.
LONGEST_S = 8.0

KINDS: dict[str, dict[str, float]] = {
    "lost": {"lost": 0.02},
    "doubled": {"doubled": 0.05},
    "reordered": {"delayed": 0.05, "delay_s": 0.004},
    "late": {"delayed": 0.05, "delay_s": 0.4},
    "destroyed": {"destroyed": 0.1},
    "everything": {"lost": 0.01, "doubled": 0.02, "delayed": 0.02, "delay_s": 0.01, "destroyed": 0.05},
}


def true_answer(request: bytes) -> bytes:
    """What a module truthfully answers: it says the request again, so that a wrong pairing shows; length varies."""
    length = 1 + sum(request) % 60
    return bytes((request[0] + 0x40,)) + request[1:] + bytes((request[-1],)) * length


def moody(seed: int, clock: LoopClock) -> object:
    """Answers after 1 to 25 ms; sometimes with 78 or 21 first."""
    rng = random.Random(seed)

    def script(request: bytes) -> list[tuple[float, bytes]]:
        delay_s = rng.uniform(0.001, 0.025)
        if rng.random() < 0.05:
            return [(delay_s, bytes((0x7F, request[0], 0x21)))]
        if rng.random() < 0.05:
            return [(delay_s, bytes((0x7F, request[0], 0x78))), (delay_s + 0.3, true_answer(request))]
        return [(delay_s, true_answer(request))]

    return script


@pytest.mark.parametrize("kind", KINDS)
def test_every_exchange_ends_true_or_typed_and_the_link_stays_usable(kind: str) -> None:
    """Hundreds of exchanges with two modules at once under each kind of fault."""

    async def main(clock: LoopClock, seed: int) -> tuple[int, int]:
        bus = InLoopBus(clock, faults=Faults(seed=seed, **KINDS[kind]))
        link = await open_link(bus, clock)
        for address in (ENGINE, BRAKES):
            FakeModule(bus, clock, address, moody(seed, clock), block_size=3)  # type: ignore[arg-type]
        right = wrong = 0
        async with Conversations(link, clock, lambda _: None) as talk:

            async def one(number: int) -> bool:
                request = bytes((0x22, 0xF1, number))
                begun_s = clock.now()
                try:
                    answer = await talk.ask((ENGINE, BRAKES)[number % 2], request)
                except AsleftError:
                    return False
                finally:
                    assert clock.now() - begun_s < LONGEST_S
                assert answer == true_answer(request)
                return True

            for number in range(0, EXCHANGES, 2):
                for fine in await asyncio.gather(one(number), one(number + 1)):
                    right, wrong = right + fine, wrong + (not fine)
            bus.faults = Faults()
            await clock.sleep_until(clock.now() + 6.0)
            for module in (ENGINE, BRAKES):
                assert await talk.ask(module, b"\x22\xf1\xff")
            assert talk.turns.taken == 0
        return right, wrong

    total = [run_virtual(lambda clock, seed=seed: main(clock, seed)) for seed in range(RUNS)]
    right, wrong = (sum(column) for column in zip(*total, strict=True))
    assert right + wrong == RUNS * EXCHANGES
    assert right > 0.9 * RUNS * EXCHANGES


def test_corrupted_bytes_never_hang_it() -> None:
    """Bytes changed where no CRC guards them: wrong lengths, numbers, flow control. Ended in time, then usable.

    Here a wrong answer cannot be told from a right one by the conversation; only time and type are checked.
    """

    async def main(clock: LoopClock, seed: int) -> None:
        bus = InLoopBus(clock, faults=Faults(seed=seed, corrupted=0.15))
        link = await open_link(bus, clock)
        FakeModule(bus, clock, ENGINE, moody(seed, clock))  # type: ignore[arg-type]
        async with Conversations(link, clock, lambda _: None) as talk:
            for number in range(EXCHANGES):
                begun_s = clock.now()
                with contextlib.suppress(AsleftError):
                    await talk.ask(ENGINE, bytes((0x22, 0xF1, number)))
                assert clock.now() - begun_s < 30.0
            bus.faults = Faults()
            await clock.sleep_until(clock.now() + 6.0)
            assert await talk.ask(ENGINE, b"\x22\xf1\xff") == true_answer(b"\x22\xf1\xff")

    for seed in range(RUNS):
        run_virtual(lambda clock, seed=seed: main(clock, seed))


def test_hostile_frames_on_a_module_s_identifier_bring_out_nothing_but_typed_errors() -> None:
    """Random frames, half of them shaped like ISO-TP, while requests run."""

    async def main(clock: LoopClock, seed: int) -> None:
        rng = random.Random(seed)
        bus = InLoopBus(clock)
        link = await open_link(bus, clock)
        FakeModule(bus, clock, ENGINE, moody(seed, clock))  # type: ignore[arg-type]
        enemy = bus.join("enemy", lambda _: None)

        def shout() -> None:
            data = rng.randbytes(rng.randint(0, 8))
            if data and rng.random() < 0.7:
                data = bytes((rng.choice((0x01, 0x07, 0x10, 0x1F, 0x21, 0x2F, 0x30, 0x31, 0x32, 0x3F)),)) + data[1:]
            enemy.send(CanFrame(0x7E8, data))
            clock.call_at(clock.now() + rng.uniform(0.0005, 0.02), shout)

        shout()
        async with Conversations(link, clock, lambda _: None) as talk:
            for number in range(EXCHANGES):
                begun_s = clock.now()
                with contextlib.suppress(AsleftError):
                    await talk.ask(ENGINE, bytes((0x22, 0xF1, number)), deadline_s=2.0)
                assert clock.now() - begun_s <= 2.0 + 1e-6

    for seed in range(RUNS):
        run_virtual(lambda clock, seed=seed: main(clock, seed))


def test_a_flood_of_higher_priority_starves_requests_but_does_not_hang_them() -> None:
    """With the bus full of lower identifiers nothing of ours gets out: an error in a second; afterwards all is well."""

    async def main(clock: LoopClock) -> None:
        bus = InLoopBus(clock)
        link = await open_link(bus, clock)
        FakeModule(bus, clock, ENGINE, moody(1, clock))  # type: ignore[arg-type]
        async with Conversations(link, clock, lambda _: None) as talk:
            flood = Talker(bus, clock, "flood", period_s=0.0, identifiers=(0x001,))
            with pytest.raises(AsleftError):
                await talk.ask(ENGINE, b"\x22\xf1\x90")
            assert clock.now() < 2.5
            flood.stop()
            await clock.sleep_until(clock.now() + 2.0)
            assert await talk.ask(ENGINE, b"\x22\xf1\x91") == true_answer(b"\x22\xf1\x91")

    run_virtual(main)


@pytest.mark.parametrize("share", [0.5, 0.8])
def test_other_traffic_on_the_bus_costs_time_but_no_answer(share: float) -> None:
    """Half and four fifths of the bus taken by others: every exchange is answered."""

    async def main(clock: LoopClock) -> None:
        bus = InLoopBus(clock)
        link = await open_link(bus, clock)
        background_load(bus, clock, share)
        FakeModule(bus, clock, ENGINE, lambda r: [(0.005, true_answer(r))])
        async with Conversations(link, clock, lambda _: None) as talk:
            for number in range(30):
                request = bytes((0x22, 0xF1, number))
                assert await talk.ask(ENGINE, request) == true_answer(request)

    run_virtual(main)


def test_a_module_that_restarts_in_the_middle_is_silent_and_then_back() -> None:
    """The answer breaks off in the middle; the retry meets a silent module; later it answers again."""

    async def main(clock: LoopClock) -> None:
        bus = InLoopBus(clock)
        link = await open_link(bus, clock)
        engine = FakeModule(bus, clock, ENGINE, lambda r: [(0.005, true_answer(r))], stmin=2)
        request = b"\x22\xf1\x3a"  # a long answer
        async with Conversations(link, clock, lambda _: None) as talk:

            def away() -> None:
                engine.gone = True
                engine.node.stop()

            clock.call_at(0.0062, away)
            with pytest.raises(AsleftError):
                await talk.ask(ENGINE, request)
            assert clock.now() < 2.0
            engine.gone = False
            assert await talk.ask(ENGINE, request) == true_answer(request)

    run_virtual(main)
