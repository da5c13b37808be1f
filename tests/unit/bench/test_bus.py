"""The in-loop bus: timing, arbitration, queues, errors."""

from __future__ import annotations

import pytest

from asleft.bench.bus import ERROR_BITS, InLoopBus
from asleft.bench.bus_faults import Faults
from asleft.bench.can_bits import frame_bits
from asleft.bench.clock import StepClock
from asleft.model.errors import Code, LinkError
from asleft.model.frame import CanFrame
from asleft.model.origin import Origin

REQUEST = CanFrame(0x7DF, bytes.fromhex("0201050000000000"))
ANSWER = CanFrame(0x7E8, bytes.fromhex("0341057B00000000"))


def test_says_that_it_is_a_bench(bus: InLoopBus) -> None:
    assert bus.origin is Origin.BENCH


@pytest.mark.parametrize("bitrate", [125_000, 250_000, 500_000, 1_000_000])
def test_a_frame_takes_its_stuffed_length(clock: StepClock, bitrate: int) -> None:
    """122 bits with intermission (checks, section 4): heard after 119, the next may start after 122."""
    bus = InLoopBus(clock, bitrate)
    heard: list[CanFrame] = []
    bus.join("ear", heard.append)
    sender = bus.join("sender", lambda _frame: None)
    sender.send(ANSWER)
    sender.send(ANSWER)
    clock.run_until(1.0)
    assert [frame.time_s for frame in heard] == [pytest.approx(119 / bitrate), pytest.approx((122 + 119) / bitrate)]


def test_the_sender_does_not_hear_itself(clock: StepClock, bus: InLoopBus) -> None:
    heard: list[CanFrame] = []
    node = bus.join("node", heard.append)
    node.send(REQUEST)
    clock.run_until(1.0)
    assert heard == []


def test_the_lower_identifier_wins(clock: StepClock, bus: InLoopBus) -> None:
    order: list[int] = []
    bus.join("ear", lambda frame: order.append(frame.id))
    nodes = [bus.join(str(index), lambda _frame: None) for index in range(4)]
    for node, identifier in zip(nodes, (0x700, 0x100, 0x7E8, 0x0A0), strict=True):
        node.send(CanFrame(identifier, b""))
    clock.run_until(1.0)
    assert order == [0x0A0, 0x100, 0x700, 0x7E8]


def test_a_short_identifier_wins_over_a_long_one_of_the_same_base(clock: StepClock, bus: InLoopBus) -> None:
    order: list[bool] = []
    bus.join("ear", lambda frame: order.append(frame.extended))
    for frame in (CanFrame(0x100 << 18, b"", extended=True), CanFrame(0x100, b"")):
        bus.join(frame.text(), lambda _frame: None).send(frame)
    clock.run_until(1.0)
    assert order == [False, True]


def test_a_node_keeps_its_own_order(clock: StepClock, bus: InLoopBus) -> None:
    """One queue a node: a low identifier behind a high one waits for it."""
    order: list[int] = []
    bus.join("ear", lambda frame: order.append(frame.id))
    node = bus.join("node", lambda _frame: None)
    for identifier in (0x700, 0x100):
        node.send(CanFrame(identifier, b""))
    clock.run_until(1.0)
    assert order == [0x700, 0x100]


def test_a_frame_under_way_is_not_interrupted(clock: StepClock, bus: InLoopBus) -> None:
    order: list[int] = []
    bus.join("ear", lambda frame: order.append(frame.id))
    bus.join("slow", lambda _frame: None).send(CanFrame(0x7FF, bytes(8)))
    fast = bus.join("fast", lambda _frame: None)
    clock.call_at(100e-6, lambda: fast.send(CanFrame(0x001, b"")))
    clock.run_until(1.0)
    assert order == [0x7FF, 0x001]


def test_tells_the_sender_when_it_is_gone(clock: StepClock, bus: InLoopBus) -> None:
    gone: list[float] = []
    node = bus.join("node", lambda _frame: None)
    node.sent = lambda _frame: gone.append(clock.now())
    node.send(ANSWER)
    clock.run_until(1.0)
    assert gone == [pytest.approx(119 / 500_000)]


def test_who_left_hears_and_sends_nothing(clock: StepClock, bus: InLoopBus) -> None:
    heard: list[CanFrame] = []
    ear = bus.join("ear", heard.append)
    leaver = bus.join("leaver", heard.append)
    leaver.send(REQUEST)
    leaver.leave()
    ear.send(ANSWER)
    clock.run_until(1.0)
    assert heard == []
    with pytest.raises(LinkError, match="left"):
        leaver.send(REQUEST)


def test_counts_bits_and_load(clock: StepClock, bus: InLoopBus) -> None:
    node = bus.join("node", lambda _frame: None)
    for _ in range(100):
        node.send(REQUEST)
    clock.run_until(0.05)
    assert bus.counts.frames == 100
    assert bus.counts.bits == 100 * frame_bits(REQUEST.id, REQUEST.data)
    assert bus.load(0.0, 0) == pytest.approx(100 * 125 / 500_000 / 0.05)


def test_refuses_an_impossible_bit_rate(clock: StepClock) -> None:
    with pytest.raises(LinkError, match="bit rate 5000000"):
        InLoopBus(clock, 5_000_000)


def test_refuses_can_fd(bus: InLoopBus) -> None:
    with pytest.raises(LinkError, match="no CAN FD"):
        bus.join("node", lambda _frame: None).send(CanFrame(1, bytes(12), fd=True))


def test_a_full_queue_is_an_error(clock: StepClock) -> None:
    bus = InLoopBus(clock, queue_length=3)
    node = bus.join("node", lambda _frame: None)
    for _ in range(3):
        node.send(REQUEST)
    with pytest.raises(LinkError) as caught:
        node.send(REQUEST)
    assert caught.value.code is Code.LINK_LOST


def test_a_destroyed_frame_is_sent_again(clock: StepClock, bus: InLoopBus) -> None:
    """An error frame costs time and counts, and nothing is lost."""
    bus.faults = Faults(seed=5, destroyed=0.3)
    heard: list[CanFrame] = []
    bus.join("ear", heard.append)
    node = bus.join("node", lambda _frame: None)
    for number in range(50):
        node.send(CanFrame(0x100, bytes([number])))
    clock.run_until(1.0)
    assert [frame.data[0] for frame in heard] == list(range(50))
    assert bus.counts.destroyed > 5
    assert bus.counts.bits > sum(frame_bits(0x100, bytes([n])) for n in range(50)) + ERROR_BITS * bus.counts.destroyed


def test_a_node_whose_frames_always_break_goes_bus_off_and_recovers(clock: StepClock, bus: InLoopBus) -> None:
    """Transmit error counter by 8 a time: off after 32; back after 128 times 11 bits."""
    bus.faults = Faults(destroyed=1.0)
    heard: list[CanFrame] = []
    bus.join("ear", heard.append)
    node = bus.join("node", lambda _frame: None)
    node.send(REQUEST)
    clock.run_until(1.0)
    assert node.bus_off
    assert bus.counts.destroyed == 32
    with pytest.raises(LinkError, match="bus off"):
        node.send(REQUEST)
    bus.faults = Faults()
    node.recover()
    clock.run_until(clock.now() + 128 * 11 / 500_000 + 1e-6)
    node.send(REQUEST)
    clock.run_until(clock.now() + 0.01)
    assert len(heard) == 1


def test_a_node_set_bus_off_neither_hears_nor_sends(clock: StepClock, bus: InLoopBus) -> None:
    heard: list[CanFrame] = []
    bus.join("module", heard.append)
    other = bus.join("other", lambda _frame: None)
    bus.set_bus_off("module")
    other.send(REQUEST)
    clock.run_until(0.1)
    assert heard == []
    with pytest.raises(LinkError, match="no node 'nobody'"):
        bus.set_bus_off("nobody")
