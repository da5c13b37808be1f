"""Rest readings over key cycles, and a position that follows its command."""

from __future__ import annotations

import math

import numpy as np
import pytest

from asleft.model.reading import Series
from asleft.model.verdict import LimitOwner, Limits, Reason, Verdict
from asleft.proof.decide import decide
from asleft.proof.estimate import Estimate, NoEstimate
from asleft.proof.rest import rest_range
from asleft.proof.tracking import Tracking, tracking

Q = 100.0 / 255.0
LIMIT = Limits(None, 1.2, "%", LimitOwner.OURS)


def at_rest(counts: float, begin_s: float = 0.0, n: int = 10) -> Series:
    return Series(
        "throttle-absolute",
        "%",
        tuple(begin_s + 0.3 * i for i in range(n)),
        tuple([counts * Q] * n),
        Q,
    )


def number(found):
    assert isinstance(found, Estimate | Tracking), found
    return found


class TestRestRange:
    def test_resolution_of_two_roundings(self) -> None:
        found = number(rest_range([at_rest(36, 20 * i) for i in range(5)]))
        assert found.value == 0.0
        assert found.u == pytest.approx(Q / math.sqrt(6))
        assert found.expanded == pytest.approx(0.32, abs=0.005)
        assert found.n_eff == 5.0

    @pytest.mark.parametrize(
        ("counts", "verdict"),
        [
            (0, Verdict.PASS),
            (1, Verdict.PASS),
            (2, Verdict.PASS),
            (3, Verdict.CANNOT_TELL),
            (4, Verdict.FAIL),
            (9, Verdict.FAIL),
        ],
    )
    def test_two_counts_pass_three_cannot_tell_four_fail(self, counts: int, verdict: Verdict) -> None:
        rests = [at_rest(36, 20 * i) for i in range(4)] + [at_rest(36 + counts, 80)]
        assert decide("rest", "Range", rest_range(rests, cycles=5), LIMIT).verdict is verdict

    def test_too_few_cycles(self) -> None:
        found = rest_range([at_rest(36)] * 3, cycles=5)
        assert isinstance(found, NoEstimate)
        assert found.message.text == "3 key cycles recorded, 5 are needed"

    def test_a_plate_that_still_moves_is_not_at_rest(self) -> None:
        moving = Series(
            "throttle-absolute", "%", tuple(0.3 * i for i in range(10)), tuple(10 + i * Q for i in range(10)), Q
        )
        found = rest_range([at_rest(36), moving], cycles=2)
        assert isinstance(found, NoEstimate)
        assert found.reasons == (Reason.WINDOW,)

    def test_a_reading_at_the_end_of_its_range_shows_nothing(self) -> None:
        found = rest_range([at_rest(0, 20 * i) for i in range(5)], cycles=5, ends=(0.0, 100.0))
        assert isinstance(found, NoEstimate)
        assert found.reasons == (Reason.UNTRUSTED,)

    def test_one_empty_cycle_is_no_cycle(self) -> None:
        empty = Series("throttle-absolute", "%", (), (), Q)
        found = rest_range([at_rest(36), empty], cycles=2)
        assert isinstance(found, NoEstimate)
        assert found.reasons == (Reason.UNSUPPORTED,)

    def test_noise_of_the_readings_widens_it(self) -> None:
        noisy = Series("t", "%", tuple(range(10)), tuple(14.0 + Q * (i % 2) for i in range(10)), Q)
        assert number(rest_range([noisy, noisy])).u >= Q / math.sqrt(6)


def sweep(
    slope: float = 1.0,
    offset: float = 4.0,
    delay_s: float = 0.0,
    top: float = 60.0,
    noise: float = 0.0,
    q: float = Q,
    seed: int = 1,
) -> tuple[Series, Series]:
    """A slow sweep up and down, both read in turn every 0.2 s."""
    rng = np.random.default_rng(seed)

    def command(t):
        return np.interp(t, [0, 2, 8, 10, 16, 18], [5, 5, top, top, 5, 5])

    def rounded(x):
        return np.round(x / q) * q if q else x

    t_cmd = np.arange(0, 18, 0.2) + rng.uniform(0, 0.02, 90)
    t_act = t_cmd + 0.08
    actual = offset + slope * command(t_act - delay_s) + noise * rng.standard_normal(90)
    return (
        Series("throttle-absolute", "%", tuple(t_act), tuple(rounded(actual)), q),
        Series("throttle-commanded", "%", tuple(t_cmd), tuple(rounded(command(t_cmd))), q),
    )


class TestTracking:
    @pytest.mark.parametrize("slope", [0.9, 1.0, 1.07])
    @pytest.mark.parametrize("delay_s", [0.0, 0.1])
    def test_slope_whatever_offset_and_delay(self, slope: float, delay_s: float) -> None:
        found = number(tracking(*sweep(slope, delay_s=delay_s)))
        assert found.slope.value == pytest.approx(slope, abs=2 * found.slope.u)
        assert found.slope.u < 0.02

    def test_delay_is_told_apart_from_error(self) -> None:
        found = number(tracking(*sweep(delay_s=0.15)))
        assert found.delay.value == pytest.approx(0.15, abs=max(0.03, 2 * found.delay.u))
        assert found.residual.value < 0.5

    def test_what_remains_is_rounding_when_nothing_else_is(self) -> None:
        found = number(tracking(*sweep()))
        assert 0.8 < found.residual.value / (Q / math.sqrt(12)) < math.sqrt(2)

    def test_rests_before_and_after_do_not_make_it_look_better(self) -> None:
        actual, commanded = sweep(noise=1.5)
        t = np.concatenate([np.arange(0, 60, 0.2), np.asarray(commanded.times_s) + 60.0])
        longer = [
            Series(s.signal, "%", tuple(t + d), tuple(np.concatenate([np.full(300, s.values[0]), s.values])), Q)
            for s, d in ((actual, 0.08), (commanded, 0.0))
        ]
        assert number(tracking(*longer)).residual.value > 1.2

    def test_a_step_is_no_slow_sweep(self) -> None:
        t = tuple(0.2 * i for i in range(60))
        values = tuple([5.0] * 30 + [15.0, 25.0, 30.0, 35.0, 40.0, 45.0, 50.0] + [60.0] * 23)
        found = tracking(Series("a", "%", t, values, Q), Series("c", "%", t, values, Q))
        assert isinstance(found, NoEstimate)
        assert found.reasons == (Reason.TOO_FEW,)

    def test_noise_is_seen_in_what_remains(self) -> None:
        found = number(tracking(*sweep(noise=1.5)))
        assert found.residual.value == pytest.approx(1.5, abs=max(0.35, 2 * found.residual.u))

    def test_a_narrow_sweep_cannot_tell(self) -> None:
        found = tracking(*sweep(top=30.0))
        assert isinstance(found, NoEstimate)
        assert found.reasons == (Reason.RESOLUTION,)
        assert "at least 30 %" in found.message.text

    def test_one_wild_reading_makes_no_sweep(self) -> None:
        actual, commanded = sweep(top=10.0)
        wild = list(commanded.values)
        wild[40] = 95.0
        found = tracking(actual, Series("throttle-commanded", "%", commanded.times_s, tuple(wild), Q))
        assert isinstance(found, NoEstimate)

    def test_a_stuck_plate_or_a_frozen_reading(self) -> None:
        actual, commanded = sweep()
        stuck = Series("throttle-absolute", "%", actual.times_s, tuple([14.9] * len(actual)), Q)
        found = tracking(stuck, commanded)
        assert isinstance(found, NoEstimate)
        assert found.reasons == (Reason.FROZEN,)

    def test_a_plate_that_hardly_follows_has_hardly_a_slope(self) -> None:
        found = number(tracking(*sweep(slope=0.02)))
        assert found.slope.value == pytest.approx(0.02, abs=0.02)

    def test_readings_that_never_meet_cannot_be_paired(self) -> None:
        actual, commanded = sweep()
        later = tuple(t + 100.0 for t in actual.times_s)
        found = tracking(Series("throttle-absolute", "%", later, actual.values, Q), commanded)
        assert isinstance(found, NoEstimate)
        assert found.reasons == (Reason.TOO_FEW,)

    def test_units_must_agree(self) -> None:
        actual, commanded = sweep()
        found = tracking(Series("throttle-absolute", "V", actual.times_s, actual.values, Q), commanded)
        assert isinstance(found, NoEstimate)
        assert found.reasons == (Reason.CONTRADICTION,)

    def test_rows_of_whole_seconds_are_paired_as_they_stand(self) -> None:
        actual, commanded = sweep()
        seconds = tuple(float(math.floor(t)) for t in commanded.times_s)
        found = number(
            tracking(
                Series("throttle-absolute", "%", seconds, actual.values, Q, u_time_s=1.0),
                Series("throttle-commanded", "%", seconds, commanded.values, Q, u_time_s=1.0),
            )
        )
        assert found.slope.value == pytest.approx(1.0, abs=0.05)


def test_rests_at_one_place_differ_by_exactly_nothing() -> None:
    """Not by 3.55e-15: the same reading, seen 9, 10 or 11 times, has the same mean to the bit."""
    place = 37 * 100 / 255
    rests = [
        Series("throttle-absolute", "%", tuple(0.3 * i for i in range(n)), (place,) * n, 100 / 255)
        for n in (9, 10, 11, 7, 13)
    ]
    found = rest_range(rests, cycles=5)
    assert isinstance(found, Estimate)
    assert found.value == 0.0
