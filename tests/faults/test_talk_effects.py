"""Effects on a car: never without a receipt, never twice, whatever the bus and the module do. Checked on the wire."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import Callable, Coroutine
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from asleft.bench.bus import InLoopBus
from asleft.codec.effects import effect_of
from asleft.job.clock import LoopClock, run_virtual
from asleft.link.bus_link import BusLink
from asleft.model.effect import Receipt
from asleft.model.errors import AsleftError, Code, LinkError, RecordError, RunError
from asleft.model.origin import Origin
from asleft.talk.conversations import Conversations
from asleft.talk.errors import ModuleRefused, ModuleSilent
from asleft.talk.policy import WritesPolicy
from kit.fake_module import (
    BRAKES,
    ENGINE,
    FakeModule,
    OtherOrigin,
    Tap,
    in_turn,
    receipt,
    silent,
    table,
)

START = "3101020301"
EFFECTS = ["2EF19000", START, "14FFFFFF", "04", "1101", "2701", "2F012303FF", "280303", "8502", "1002", "3D1234", "99"]


class Ledger:
    """Stands for a journal: redeems each token once and notes when."""

    def __init__(self) -> None:
        self.redeemed: list[str] = []
        self.on_redeem: Callable[[], None] = lambda: None

    def redeem(self, permission: Receipt) -> None:
        if permission.token != "t":
            raise RunError(Code.RECEIPT_MISSING)
        if permission.token in self.redeemed:
            raise RecordError(Code.RECEIPT_USED)
        self.redeemed.append(permission.token)
        self.on_redeem()


class Scene:
    def __init__(self, clock: LoopClock, bus: InLoopBus, talk: Conversations, ledger: Ledger) -> None:
        self.clock, self.bus, self.talk, self.ledger = clock, bus, talk, ledger
        self.tap = Tap(bus)


def play(
    work: Callable[[Scene], Coroutine[Any, Any, None]],
    origin: Origin = Origin.BENCH,
    policy: WritesPolicy | None = None,
) -> None:
    async def main(clock: LoopClock) -> None:
        bus, ledger = InLoopBus(clock), Ledger()
        link = BusLink(OtherOrigin(bus, origin), clock)
        await link.open()
        async with Conversations(link, clock, ledger.redeem, policy=policy or WritesPolicy()) as talk:
            await work(Scene(clock, bus, talk, ledger))

    run_virtual(main)


@pytest.mark.parametrize("payload", EFFECTS)
def test_an_effect_cannot_be_asked(payload: str) -> None:
    """Bytes with an effect, through the way of reads: receipt-missing, and no frame on the bus."""

    async def work(scene: Scene) -> None:
        FakeModule(scene.bus, scene.clock, ENGINE, table({}))
        for call in (scene.talk.ask(ENGINE, bytes.fromhex(payload)), scene.talk.ask_everybody(bytes.fromhex(payload))):
            with pytest.raises(RunError) as caught:
                await call
            assert caught.value.code is Code.RECEIPT_MISSING
        assert scene.tap.frames == []

    play(work)


@given(st.binary(min_size=0, max_size=12))
def test_no_bytes_at_all_get_around_the_receipt(payload: bytes) -> None:
    """Whatever the bytes: what reaches the bus through ask is a read or a session."""

    async def work(scene: Scene) -> None:
        engine = FakeModule(scene.bus, scene.clock, ENGINE, table({}))
        with contextlib.suppress(AsleftError):
            await scene.talk.ask(ENGINE, payload)
        for _, heard in engine.heard:
            assert not effect_of(heard).needs_receipt

    play(work)


def test_a_receipt_is_redeemed_before_its_bytes_go_out_exactly_once() -> None:
    """Redeemed first, then one request with exactly these bytes, then the answer."""

    async def work(scene: Scene) -> None:
        engine = FakeModule(scene.bus, scene.clock, ENGINE, table({START: "71010203"}))
        frames_at_redeem: list[int] = []
        scene.ledger.on_redeem = lambda: frames_at_redeem.append(len(scene.tap.frames))
        assert await scene.talk.carry_out(receipt(ENGINE, START)) == bytes.fromhex("71010203")
        assert frames_at_redeem == [0]
        assert engine.requests == [START]

    play(work)


@pytest.mark.parametrize(
    ("script", "error"),
    [
        (silent, ModuleSilent),
        (in_turn([(0.01, "7F3121")]), ModuleRefused),
        (in_turn([(0.01, "7F3122")]), ModuleRefused),
        (in_turn([(0.01, "7F3178")]), ModuleSilent),
        (in_turn([(0.9, "71010203")]), ModuleSilent),
    ],
    ids=["silent", "busy", "refused", "pending for ever", "late"],
)
def test_an_effect_is_never_sent_again(script: Any, error: type[AsleftError]) -> None:
    """Silence, busy, refusal, pending without end, a late answer: one request on the wire, one typed error."""

    async def work(scene: Scene) -> None:
        engine = FakeModule(scene.bus, scene.clock, ENGINE, script)
        with pytest.raises(error):
            await scene.talk.carry_out(receipt(ENGINE, START))
        await scene.clock.sleep_until(scene.clock.now() + 100.0)
        assert engine.requests == [START]

    play(work)


def test_a_long_effect_that_breaks_off_is_not_sent_again() -> None:
    """The module never lets the second frame come: transfer-broken, one first frame on the wire."""

    async def work(scene: Scene) -> None:
        with pytest.raises(LinkError) as caught:
            await scene.talk.carry_out(receipt(ENGINE, "2EF190" + "41" * 17))
        assert caught.value.code is Code.TRANSFER_BROKEN
        await scene.clock.sleep_until(scene.clock.now() + 10.0)
        assert scene.tap.sent(0x7E0) == ["10142EF190414141"]

    play(work)


def test_a_used_receipt_sends_nothing() -> None:
    """The second time: receipt-used, and nothing on the bus."""

    async def work(scene: Scene) -> None:
        engine = FakeModule(scene.bus, scene.clock, ENGINE, table({START: "71010203"}))
        await scene.talk.carry_out(receipt(ENGINE, START))
        with pytest.raises(RecordError):
            await scene.talk.carry_out(receipt(ENGINE, START))
        with pytest.raises(RunError):
            await scene.talk.carry_out(receipt(ENGINE, START, token="forged"))
        assert engine.requests == [START]

    play(work)


@pytest.mark.parametrize(
    ("origin", "policy", "goes"),
    [
        (Origin.BENCH, WritesPolicy(), True),
        (Origin.VEHICLE, WritesPolicy(), False),
        (Origin.VEHICLE, WritesPolicy(vehicle_open=True), True),
        (Origin.REPLAY, WritesPolicy(), False),
        (Origin.REPLAY, WritesPolicy(vehicle_open=True), False),
    ],
)
def test_the_gate_for_effects(origin: Origin, policy: WritesPolicy, goes: bool) -> None:
    """Bench: open. Vehicle: only when the settings open it. Recording: never. A closed gate uses no receipt up."""

    async def work(scene: Scene) -> None:
        engine = FakeModule(scene.bus, scene.clock, ENGINE, table({START: "71010203", "22F190": "62F19041"}))
        if goes:
            await scene.talk.carry_out(receipt(ENGINE, START))
        else:
            with pytest.raises(RunError) as caught:
                await scene.talk.carry_out(receipt(ENGINE, START))
            assert caught.value.code is Code.WRITES_CLOSED
        assert engine.requests == ([START] if goes else [])
        assert len(scene.ledger.redeemed) == int(goes)
        await scene.talk.ask(ENGINE, bytes.fromhex("22F190"))

    play(work, origin, policy)


def test_nobody_else_speaks_during_a_write() -> None:
    """A write that takes two seconds: reads of other modules wait until it has ended."""
    write = "2EF1900102"

    async def work(scene: Scene) -> None:
        engine = FakeModule(scene.bus, scene.clock, ENGINE, in_turn([(0.01, "7F2E78"), (2.0, "6EF190")]))
        brakes = FakeModule(scene.bus, scene.clock, BRAKES, table({"22F190": "62F19041"}))
        writing = asyncio.ensure_future(scene.talk.carry_out(receipt(ENGINE, write)))
        await scene.clock.sleep_until(0.1)
        assert await scene.talk.ask(BRAKES, bytes.fromhex("22F190")) == bytes.fromhex("62F19041")
        assert await writing == bytes.fromhex("6EF190")
        assert brakes.heard[0][0] > engine.heard[0][0] + 2.0

    play(work)


def test_conditions_can_be_watched_while_something_moves() -> None:
    """A routine only actuates: other modules are read meanwhile."""

    async def work(scene: Scene) -> None:
        FakeModule(scene.bus, scene.clock, ENGINE, in_turn([(0.01, "7F3178"), (2.0, "71010203")]))
        brakes = FakeModule(scene.bus, scene.clock, BRAKES, table({"22F190": "62F19041"}))
        moving = asyncio.ensure_future(scene.talk.carry_out(receipt(ENGINE, START)))
        await scene.clock.sleep_until(0.1)
        await scene.talk.ask(BRAKES, bytes.fromhex("22F190"))
        assert scene.clock.now() < 0.2
        await moving
        assert len(brakes.heard) == 1

    play(work)


def test_a_cancelled_effect_is_not_sent_again() -> None:
    """Cancelled while the module works on it: nothing more goes out."""

    async def work(scene: Scene) -> None:
        engine = FakeModule(scene.bus, scene.clock, ENGINE, in_turn([(0.01, "7F3178"), (5.0, "71010203")]))
        task = asyncio.ensure_future(scene.talk.carry_out(receipt(ENGINE, START)))
        await scene.clock.sleep_until(1.0)
        task.cancel()
        with pytest.raises(asyncio.CancelledError):
            await task
        await scene.clock.sleep_until(60.0)
        assert engine.requests == [START]

    play(work)
