"""The discrete-event clock."""

from __future__ import annotations

import asyncio

from asleft.bench.clock import StepClock
from asleft.model.origin import ClockKind, WallTrust


def test_calls_happen_in_order_and_at_their_time(clock: StepClock) -> None:
    log: list[tuple[float, str]] = []
    for when, name in ((2.0, "c"), (1.0, "a"), (1.0, "b"), (-5.0, "past")):
        clock.call_at(when, lambda name=name: log.append((clock.now(), name)))
    clock.run_until(3.0)
    assert log == [(0.0, "past"), (1.0, "a"), (1.0, "b"), (2.0, "c")]
    assert clock.now() == 3.0


def test_a_cancelled_call_does_not_happen(clock: StepClock) -> None:
    log: list[int] = []
    clock.call_at(1.0, lambda: log.append(1)).cancel()
    clock.run_until(2.0)
    assert log == []


def test_run_while_stops_at_its_limit_or_when_done(clock: StepClock) -> None:
    log: list[int] = []
    clock.call_at(1.0, lambda: log.append(1))
    assert clock.run_while(lambda: not log, 5.0)
    assert clock.now() == 1.0
    assert not clock.run_while(lambda: len(log) < 2, 5.0)
    assert clock.now() == 6.0


def test_is_virtual_and_says_so(clock: StepClock) -> None:
    clock.run_until(1.5)
    assert clock.kind is ClockKind.VIRTUAL
    assert clock.wall() == ("2030-01-07T08:00:01.500Z", WallTrust.SIMULATED)


def test_can_be_awaited_by_its_only_user(clock: StepClock) -> None:
    asyncio.run(clock.sleep_until(4.0))
    assert clock.now() == 4.0
