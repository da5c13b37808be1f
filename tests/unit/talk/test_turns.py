"""Turns on a link: limits, order, being alone, deadlines, cancellation."""

from __future__ import annotations

import asyncio
import random

from asleft.job.clock import LoopClock, run_virtual
from asleft.talk.turns import Turns


def test_many_random_users_never_break_the_rules_and_all_get_through() -> None:
    """Random holding times, some alone, some cancelled: the limit holds, nobody is beside one who is alone."""

    async def main(clock: LoopClock, seed: int) -> None:
        rng = random.Random(seed)
        turns = Turns(clock, 3)
        now: list[bool] = []
        done = 0

        async def user(alone: bool) -> None:
            nonlocal done
            assert await turns.take(1000.0, alone=alone)
            now.append(alone)
            try:
                assert len(now) <= 3
                assert not any(now) or len(now) == 1
                await clock.sleep_until(clock.now() + rng.random() * 0.1)
                done += 1
            finally:
                now.remove(alone)
                turns.give_back()

        tasks = [asyncio.ensure_future(user(rng.random() < 0.2)) for _ in range(60)]
        for task in rng.sample(tasks, 15):
            clock.call_at(rng.random(), task.cancel)
        results = await asyncio.gather(*tasks, return_exceptions=True)
        assert sum(r is None for r in results) == done >= 45
        assert turns.taken == 0

    for seed in range(10):
        run_virtual(lambda clock, seed=seed: main(clock, seed))


def test_first_come_first_served() -> None:
    """In the order of asking, also behind one who wants to be alone."""

    async def main(clock: LoopClock) -> list[int]:
        turns, order = Turns(clock, 1), []

        async def user(number: int) -> None:
            await turns.take(10.0, alone=number == 2)
            order.append(number)
            await clock.sleep_until(clock.now() + 0.1)
            turns.give_back()

        await asyncio.gather(*(user(n) for n in range(5)))
        return order

    assert run_virtual(main) == [0, 1, 2, 3, 4]


def test_a_deadline_in_the_queue_gives_up_and_holds_nobody_up() -> None:
    """Not got in time: False, at the deadline; those behind still come."""

    async def main(clock: LoopClock) -> None:
        turns = Turns(clock, 1)
        assert await turns.take(1.0)
        waiting = asyncio.ensure_future(turns.take(0.5))
        behind = asyncio.ensure_future(turns.take(5.0))
        assert not await waiting
        assert clock.now() == 0.5
        turns.give_back()
        assert await behind
        assert turns.taken == 1

    run_virtual(main)


def test_a_larger_limit_lets_waiting_ones_in_at_once() -> None:
    """The limit can be changed while others wait."""

    async def main(clock: LoopClock) -> None:
        turns = Turns(clock, 1)
        assert await turns.take(1.0)
        waiting = asyncio.ensure_future(turns.take(5.0))
        await clock.sleep_until(0.1)
        turns.limit = 2
        assert await waiting
        assert clock.now() == 0.1

    run_virtual(main)
