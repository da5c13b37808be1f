"""One seeded bad day on a bus: two modules, one of them on extended addressing, and anything that can go wrong.

Each day has one leading fault and a background of small ones; every exchange must end true or typed within its time,
and the link must be usable afterwards, unless the day's fault was that it is gone for good.
"""

from __future__ import annotations

import asyncio
import random
from collections import Counter
from collections.abc import Callable

from asleft.bench.bus import InLoopBus
from asleft.bench.bus_faults import Faults, Talker
from asleft.job.clock import LoopClock, run_virtual
from asleft.link.bus_link import BusLink
from asleft.model.errors import AsleftError, Code, LinkError
from asleft.model.frame import CanFrame
from asleft.talk.conversations import Conversations
from kit.fake_module import BRAKES, ENGINE, FakeModule

#: Deadline of each exchange, s.
LONGEST_S = 8.0
EXCHANGES = 8
FAULTS = (
    "lost",
    "doubled",
    "reordered",
    "late",
    "destroyed",
    "cut",
    "wrong number",
    "flow control wrong",
    "flow control endless",
    "flow control overflow",
    "wrong module",
    "impossible length",
    "restart",
    "flood",
    "unplugged",
)


def true_answer(request: bytes) -> bytes:
    """What a module truthfully answers: says the request again, so that a wrong pairing shows; length varies."""
    length = 1 + sum(request) % 90
    return bytes((request[0] + 0x40,)) + request[1:] + bytes((request[-1],)) * length


class Day:
    """One day.

    Args: seed: what happens.
    """

    def __init__(self, seed: int, clock: LoopClock) -> None:
        self.rng = random.Random(seed)
        self.fault = FAULTS[seed % len(FAULTS)]
        self.clock = clock
        self.bus = InLoopBus(clock, faults=self._bus_faults(seed))
        self.link = BusLink(self.bus, clock)
        self.modules = [
            FakeModule(
                self.bus,
                clock,
                a,
                self._script,
                block_size=self.rng.choice((0, 1, 3)),
                stmin=self.rng.choice((0, 0, 2)),
            )
            for a in (ENGINE, BRAKES)
        ]
        self.enemy = self.bus.join("enemy", lambda _frame: None)
        self.ended: Counter[str] = Counter()
        self.over = False

    def _bus_faults(self, seed: int) -> Faults:
        small = {"lost": 0.002, "doubled": 0.002, "destroyed": 0.01}
        leading: dict[str, dict[str, float]] = {
            "lost": {"lost": 0.05},
            "doubled": {"doubled": 0.1},
            "reordered": {"delayed": 0.08, "delay_s": 0.004},
            "late": {"delayed": 0.08, "delay_s": 0.4},
            "destroyed": {"destroyed": 0.2},
        }
        return Faults(seed=seed, **(small | leading.get(self.fault, {})))

    def _script(self, request: bytes) -> list[tuple[float, bytes]]:
        delay_s = self.rng.uniform(0.001, 0.025)
        if self.rng.random() < 0.1:
            return [(delay_s, bytes((0x7F, request[0], 0x78))), (delay_s + 0.2, true_answer(request))]
        return [(delay_s, true_answer(request))]

    # -- what goes wrong beside the bus ----------------------------------------------------------------------------

    def begin(self) -> None:
        """Start the day's own fault."""
        acts: dict[str, Callable[[], None]] = {
            "cut": lambda: self._shout(lambda: bytes((0x10, 0x20)) + self.rng.randbytes(self.rng.randint(0, 5))),
            "wrong number": lambda: self._shout(lambda: bytes((0x20 | self.rng.randrange(16),)) + bytes(7)),
            "flow control wrong": lambda: self._shout(
                lambda: bytes((0x30 | self.rng.randrange(3, 16), 0, self.rng.randrange(256)))
            ),
            "flow control endless": lambda: self._shout(lambda: b"\x31\x00\x00"),
            "flow control overflow": lambda: self._shout(lambda: b"\x32\x00\x00"),
            "wrong module": lambda: self._shout(
                lambda: bytes((0x04, 0x62, 0xF1, self.rng.randrange(256), 0x99)), BRAKES.response_id
            ),
            "impossible length": lambda: self._shout(self._impossible),
            "restart": self._restart,
            "flood": self._flood,
            "unplugged": self._unplug,
        }
        acts.get(self.fault, lambda: None)()

    def _impossible(self) -> bytes:
        return self.rng.choice(
            (
                b"\x00",
                b"\x07\x62",
                b"\x0f" + bytes(7),
                b"\x10\x00",
                b"\x10\x01\x62\xf1\x90\x01\x02\x03",
                b"\x10\x00\xff\xff\xff\xff\x62\xf1",
                b"\x1f\xff\x62\xf1\x90\x01\x02\x03",
                b"\x01\x62",
                b"\x02\x7f\x22",
            )
        )

    def _shout(self, data: Callable[[], bytes], identifier: int = ENGINE.response_id) -> None:
        if self.over:
            return
        self.enemy.send(CanFrame(identifier, data()))
        often = (0.0005, 0.004) if self._long else (0.002, 0.05)
        self.clock.call_at(self.clock.now() + self.rng.uniform(*often), lambda: self._shout(data, identifier))

    @property
    def _long(self) -> bool:
        """Requests of several frames only: the day is about their flow control."""
        return self.fault.startswith("flow control")

    def _restart(self) -> None:
        module = self.rng.choice(self.modules)

        def away() -> None:
            module.gone = True
            module.node.stop()
            self.clock.call_at(self.clock.now() + self.rng.uniform(0.05, 1.5), back)

        def back() -> None:
            module.gone = False

        for _ in range(3):
            self.clock.call_at(self.clock.now() + self.rng.uniform(0.001, 0.4), away)

    def _flood(self) -> None:
        flood = Talker(self.bus, self.clock, "flood", period_s=0.0, identifiers=(self.rng.choice((0x001, 0x7E4)),))
        self.clock.call_at(self.clock.now() + self.rng.uniform(0.05, 3.0), flood.stop)

    def _unplug(self) -> None:
        def pull() -> None:
            self.link._on_lost(LinkError(Code.LINK_LOST, "unplugged", self.link.name))  # what a bus tells its link

        self.clock.call_at(self.clock.now() + self.rng.uniform(0.0, 0.3), pull)

    # -- the day ---------------------------------------------------------------------------------------------------

    async def work(self) -> None:
        """Ask all day; then look whether the link is usable."""
        await self.link.open()
        async with Conversations(self.link, self.clock, lambda _: None) as talk:
            self.begin()
            for number in range(0, EXCHANGES, 2):
                await asyncio.gather(*(self._one(talk, number + n) for n in range(2)))
            self.over = True
            self.bus.faults = Faults()
            assert talk.turns.taken == 0
            if self.fault == "unplugged":
                return
            await self.clock.sleep_until(self.clock.now() + 6.0)
            for address in (ENGINE, BRAKES):
                request = b"\x22\xf1\xfe"
                assert await talk.ask(address, request) == true_answer(request)

    async def _one(self, talk: Conversations, number: int) -> None:
        more = bytes((0x22, number)) * 30 if self._long or number % 3 == 2 else b""
        request = bytes((0x22, 0xF1, number * 7 & 0xFF)) + more
        begun_s = self.clock.now()
        try:
            answer = await talk.ask((ENGINE, BRAKES)[number % 2], request, deadline_s=LONGEST_S)
            kind = "answered"
            if self.fault not in ("wrong module", "cut", "wrong number", "impossible length"):  # it forges them
                assert answer == true_answer(request), (self.fault, request.hex(), answer.hex())
        except AsleftError as error:
            kind = error.code.value
        assert self.clock.now() - begun_s < LONGEST_S + 0.01, (self.fault, kind)
        self.ended[kind] += 1


def bad_day(seed: int) -> Counter[str]:
    """Play one day; how its exchanges ended. Raises AssertionError: one hung, lied, or the link was spoilt."""

    async def main(clock: LoopClock) -> Counter[str]:
        day = Day(seed, clock)
        await day.work()
        return day.ended

    return run_virtual(main)
