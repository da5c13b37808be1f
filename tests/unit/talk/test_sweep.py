"""The search for further modules: only with consent, only on a car that stands with its engine off, gently."""

from __future__ import annotations

import itertools

import pytest

from asleft.bench.bus import InLoopBus
from asleft.bench.bus_faults import background_load
from asleft.bench.cars.petrol import PetrolCar
from asleft.job.clock import LoopClock, run_virtual
from asleft.live.sampler import LinkSignals
from asleft.model.errors import Code, RunError
from asleft.model.module import ModuleAddress
from asleft.talk.conversations import Conversations
from asleft.talk.sweep import sweep
from kit.fake_module import FakeModule, Tap, open_link, table


class Scene:
    def __init__(self, clock: LoopClock, running: bool = False) -> None:
        self.clock = clock
        self.bus = InLoopBus(clock)
        self.car = PetrolCar(seed=2, warm=True)
        self.car.attach(self.bus, clock)
        self.car.act("key", position="on")
        if running:
            self.car.act("key", position="start")
        self.wide = ModuleAddress("wide", 0x18DA40F1, 0x18DAF140, extended=True)
        FakeModule(self.bus, clock, self.wide, table({"3E00": "7E00"}))
        self.tap = Tap(self.bus)

    async def search(self, agreed_by: str = "M. Okafor") -> tuple[ModuleAddress, ...]:
        await self.clock.sleep_until(4.0)
        link = await open_link(self.bus, self.clock)
        async with Conversations(link, self.clock, lambda _: None) as talk:
            signals = LinkSignals(talk, self.clock)
            return await sweep(talk, link, self.clock, signals, agreed_by, narrow=range(0x690, 0x6E0))


def test_it_finds_modules_on_both_identifier_widths() -> None:
    """Four of the bench car at 6A0 to 6D6, and one on 29 bit; each with the identifier it answered on."""

    async def main(clock: LoopClock) -> None:
        scene = Scene(clock)
        found = await scene.search()
        assert [(a.request_id, a.response_id) for a in found] == [
            (0x6A0, 0x6A1),
            (0x6B2, 0x6B3),
            (0x6C4, 0x6C5),
            (0x6D6, 0x6D7),
            (0x18DA40F1, 0x18DAF140),
        ]
        assert found[-1].extended

    run_virtual(main)


def test_nothing_but_tester_present_goes_out_and_slowly() -> None:
    """Only 3E 00; never more than one request in the pause."""

    async def main(clock: LoopClock) -> None:
        scene = Scene(clock)
        await scene.search()
        ours = [f for f in scene.tap.frames if f.data[:3] == b"\x02\x3e\x00"]
        times = [f.time_s or 0.0 for f in ours]
        assert len(ours) >= 300
        assert min(b - a for a, b in itertools.pairwise(times)) > 0.055

    run_virtual(main)


@pytest.mark.parametrize(("agreed_by", "running", "why"), [("", False, "nobody agreed"), ("M. Okafor", True, "not 0")])
def test_the_gate(agreed_by: str, running: bool, why: str) -> None:
    """Without consent, or with the engine running: nothing is sent to strange addresses."""

    async def main(clock: LoopClock) -> None:
        scene = Scene(clock, running)
        with pytest.raises(RunError, match=why) as caught:
            await scene.search(agreed_by)
        assert caught.value.code is Code.GATE_CLOSED
        assert not [f for f in scene.tap.frames if f.data[:3] == b"\x02\x3e\x00"]

    run_virtual(main)


def test_a_busy_bus_is_waited_for_and_its_traffic_is_no_answer() -> None:
    """Half of the bus taken by others: the search finds the same."""

    async def main(clock: LoopClock) -> None:
        scene = Scene(clock)
        background_load(scene.bus, clock, 0.5)
        found = await scene.search()
        assert {a.request_id for a in found} >= {0x6A0, 0x6B2, 0x6C4, 0x6D6}
        assert all(a.response_id in (0x6A1, 0x6B3, 0x6C5, 0x6D7, 0x18DAF140) for a in found)

    run_virtual(main)
