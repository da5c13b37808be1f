"""Faults of the bench bus: each changes what is heard, seeded."""

from __future__ import annotations

import pytest

from asleft.bench.bus import InLoopBus
from asleft.bench.bus_faults import Faults, Talker, background_load
from asleft.bench.clock import StepClock
from asleft.model.frame import CanFrame


def heard_with(faults: Faults, count: int = 200) -> list[CanFrame]:
    """What one receiver hears of ``count`` numbered frames, 1 ms apart."""
    clock = StepClock()
    bus = InLoopBus(clock, faults=faults)
    heard: list[CanFrame] = []
    bus.join("ear", heard.append)
    node = bus.join("node", lambda _frame: None)
    for number in range(count):
        frame = CanFrame(0x700 + number % 2, bytes([number, 0, 0, 0]))
        clock.call_at(number * 1e-3, lambda frame=frame: node.send(frame))
    clock.run_until(count * 1e-3 + 1.0)
    return heard


def test_no_fault_changes_nothing() -> None:
    assert [frame.data[0] for frame in heard_with(Faults())] == list(range(200))


def test_lost_frames_are_missing() -> None:
    heard = heard_with(Faults(seed=1, lost=0.2))
    assert 120 < len(heard) < 190
    assert [frame.data[0] for frame in heard] == sorted({frame.data[0] for frame in heard})


def test_doubled_frames_are_heard_twice() -> None:
    numbers = [frame.data[0] for frame in heard_with(Faults(seed=1, doubled=0.2))]
    assert len(numbers) > 215
    assert sorted(set(numbers)) == list(range(200))


def test_delayed_frames_may_overtake() -> None:
    numbers = [frame.data[0] for frame in heard_with(Faults(seed=1, delayed=0.1, delay_s=0.0105))]
    assert sorted(numbers) == list(range(200))
    assert numbers != sorted(numbers)


def test_corrupted_frames_differ_in_one_byte() -> None:
    wrong = [f for n, f in enumerate(heard_with(Faults(seed=1, corrupted=0.1))) if f.data != bytes([n, 0, 0, 0])]
    assert 5 < len(wrong) < 50


def test_the_same_seed_gives_the_same_faults() -> None:
    first, again, other = (heard_with(Faults(seed=s, lost=0.3, corrupted=0.3)) for s in (7, 7, 8))
    assert first == again
    assert first != other


def test_only_the_frames_concerned() -> None:
    heard = heard_with(Faults(lost=1.0, only=lambda frame: frame.id == 0x701))
    assert {frame.id for frame in heard} == {0x700}
    assert len(heard) == 100


@pytest.mark.parametrize("share", [0.1, 0.5, 0.8])
def test_background_load_is_about_what_was_asked(share: float) -> None:
    clock = StepClock()
    bus = InLoopBus(clock)
    background_load(bus, clock, share)
    clock.run_until(4.0)
    assert bus.load(0.0, 0) == pytest.approx(share, rel=0.08)


def test_load_makes_a_frame_wait() -> None:
    """Under 80 % load the mean delay of a low-priority frame is more than its own length."""
    clock = StepClock()
    bus = InLoopBus(clock)
    background_load(bus, clock, 0.8, seed=3)
    delays: list[float] = []
    bus.join("ear", lambda frame: delays.append(clock.now() - sent[-1]) if frame.id == 0x7FF else None)
    node = bus.join("node", lambda _frame: None)
    sent: list[float] = []
    for number in range(100):
        at = 0.0137 * number
        clock.call_at(at, lambda at=at: (sent.append(at), node.send(CanFrame(0x7FF, bytes(8)))))
    clock.run_until(2.0)
    assert len(delays) == 100
    assert sum(delays) / 100 > 1.3 * 130 / 500_000


def test_a_flooding_node_starves_the_others_until_it_stops() -> None:
    clock = StepClock()
    bus = InLoopBus(clock)
    heard: list[int] = []
    bus.join("ear", lambda frame: heard.append(frame.id))
    flood = Talker(bus, clock, "flood", period_s=0.0, identifiers=(0x000,))
    bus.join("module", lambda _frame: None).send(CanFrame(0x7E8, b"\x01"))
    clock.run_until(0.5)
    assert set(heard) == {0x000}
    assert bus.load(0.0, 0) == pytest.approx(1.0, abs=0.01)
    flood.stop()
    clock.run_until(0.6)
    assert heard[-1] == 0x7E8
