"""The number of requests in flight: grows by proof, shrinks by loss, is not fooled by modules that are not there."""

from __future__ import annotations

from collections.abc import Callable

from asleft.job.clock import LoopClock, run_virtual
from asleft.talk.pace import CarPace, Pace
from asleft.talk.turns import FEWEST, Turns


def pace(
    work: Callable[[Pace, Turns, LoopClock], None], start: int = 4, most: int = 8, known: CarPace | None = None
) -> None:
    async def main(clock: LoopClock) -> None:
        turns = Turns(clock, start)
        await clock.sleep_until(1.0)
        work(Pace(turns, clock, most, known or CarPace()), turns, clock)

    run_virtual(main)


def clean(it: Pace, answers: int) -> None:
    for n in range(answers):
        it.answered(n % 5)


def test_one_more_after_forty_clean_answers_up_to_the_most() -> None:
    """Growth is slow and bounded; what went well is proved."""

    def work(it: Pace, turns: Turns, clock: LoopClock) -> None:
        clean(it, 39)
        assert turns.limit == 4
        clean(it, 1)
        assert (turns.limit, it.proved) == (5, 4)
        clean(it, 1000)
        assert (turns.limit, it.proved) == (8, 8)

    pace(work)


def test_two_modules_lost_at_once_halve_it_and_set_a_ceiling() -> None:
    """Below the ceiling it may grow again, never above it."""

    def work(it: Pace, turns: Turns, clock: LoopClock) -> None:
        it.lost(1, 1.5)
        assert turns.limit == 4
        it.lost(2, 1.5)
        assert (turns.limit, it.ceiling) == (2, 3)
        clean(it, 1000)
        assert turns.limit == 3

    pace(work)


def test_what_was_sent_before_a_reduction_does_not_reduce_again() -> None:
    """Twenty lost of one burst halve it once."""

    def work(it: Pace, turns: Turns, clock: LoopClock) -> None:
        for module in range(20):
            it.lost(module, 0.5)
        assert turns.limit == 12

    pace(work, start=24, most=24)


def test_a_reduction_that_only_absent_modules_caused_is_taken_back() -> None:
    """Two modules that are not fitted: in the end the limit is as before, and they count no more."""

    def work(it: Pace, turns: Turns, clock: LoopClock) -> None:
        it.lost(1, 1.5)
        it.lost(2, 1.5)
        assert turns.limit == 2
        it.absent(1)
        it.absent(2)
        assert (turns.limit, it.ceiling) == (4, None)
        it.lost(1, 2.0)
        it.lost(2, 2.0)
        assert turns.limit == 4

    pace(work)


def test_a_lost_request_that_is_answered_later_takes_one_away() -> None:
    """It was no absent module: one fewer, no ceiling."""

    def work(it: Pace, turns: Turns, clock: LoopClock) -> None:
        it.lost(1, 1.5)
        it.answered(1, lost_s=1.5)
        assert (turns.limit, it.ceiling) == (3, None)

    pace(work)


def test_it_never_falls_below_one() -> None:
    """Whatever is lost, one request may go."""

    def work(it: Pace, turns: Turns, clock: LoopClock) -> None:
        for round_ in range(20):
            for module in range(10):
                it.lost(module, 2.0 + round_)
                it.answered(module, lost_s=2.0 + round_)
        assert turns.limit == 1

    pace(work)


def test_what_a_car_proved_earlier_bounds_the_growth() -> None:
    """Its ceiling is kept."""

    def work(it: Pace, turns: Turns, clock: LoopClock) -> None:
        clean(it, 1000)
        assert turns.limit == 5

    pace(work, known=CarPace(4, 5))


def test_on_a_full_bus_fewer_are_in_flight_for_the_moment() -> None:
    """The limit stays; the room shrinks to a few and comes back."""

    def work(it: Pace, turns: Turns, clock: LoopClock) -> None:
        for _ in range(40):
            it.bus_used(0.99)
        assert (turns.room, turns.limit) == (FEWEST, 24)
        for _ in range(40):
            it.bus_used(0.5)
        assert turns.room == 24

    pace(work, start=24, most=24)
