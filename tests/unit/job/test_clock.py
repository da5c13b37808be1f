"""Virtual time: it jumps, keeps order, and says when it stands still."""

from __future__ import annotations

import asyncio
import itertools

import pytest
from hypothesis import given
from hypothesis import strategies as st

from asleft.job.clock import LoopClock, run_virtual
from asleft.job.virtual import DeadlockError
from asleft.model.origin import ClockKind, WallTrust


def test_an_hour_passes_at_once_and_the_wall_follows() -> None:
    async def work(clock: LoopClock) -> tuple[float, tuple[str, WallTrust], ClockKind]:
        await clock.sleep_until(3600.0)
        return clock.now(), clock.wall(), clock.kind

    now, (wall, trust), kind = run_virtual(work)
    assert now == pytest.approx(3600.0)
    assert (wall, trust, kind) == ("2031-04-17T09:00:00.000Z", WallTrust.SIMULATED, ClockKind.VIRTUAL)


@given(st.lists(st.floats(0, 1e4), max_size=20))
def test_calls_come_in_the_order_of_their_times(times: list[float]) -> None:
    async def work(clock: LoopClock) -> list[tuple[float, float]]:
        seen: list[tuple[float, float]] = []
        for when in times:
            clock.call_at(when, lambda when=when: seen.append((when, clock.now())))
        await clock.sleep_until(2e4)
        return seen

    seen = run_virtual(work)
    assert sorted(w for w, _ in seen) == [w for w, _ in seen]
    assert len(seen) == len(times)
    assert all(now >= when - 1e-6 for when, now in seen)
    assert all(a[1] <= b[1] for a, b in itertools.pairwise(seen))


def test_nothing_scheduled_is_an_error_not_a_hang() -> None:
    async def work(_clock: LoopClock) -> None:
        await asyncio.get_running_loop().create_future()

    with pytest.raises(DeadlockError):
        run_virtual(work)


def test_a_cancelled_call_does_not_happen() -> None:
    async def work(clock: LoopClock) -> list[int]:
        seen: list[int] = []
        clock.call_at(1.0, lambda: seen.append(1)).cancel()
        await clock.sleep_until(2.0)
        return seen

    assert run_virtual(work) == []
