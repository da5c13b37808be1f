"""What several readings together show: age, skew, faults, true rate; a buffer; values typed off a gauge."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from asleft.live.buffer import Buffer
from asleft.live.catalogue import CATALOGUE
from asleft.live.quality import (
    SENSOR_CODES,
    RateMeter,
    at_use,
    one_moment,
    signals_in_fault,
    skew_s,
    with_faults,
)
from asleft.live.typed import Gauge, typed_reading, typed_series
from asleft.model.errors import Code, InputError
from asleft.model.origin import Origin
from asleft.model.reading import Absence, AbsenceKind, Evidence, Quality, Reading
from asleft.model.trouble import CodeKind, TroubleCode
from asleft.model.verdict import Verdict
from asleft.proof.criteria import judge
from asleft.proof.criterion_data import LimitData
from asleft.proof.criterion_more import LearnedRoom


def reading(t: float, signal: str = "engine-speed", value: float | None = 700.0, **more) -> Reading:
    absence = Absence(AbsenceKind.NOT_READ) if value is None else None
    return Reading(signal, value, "rpm", 0.1, t, Origin.BENCH, absence=absence, **more)


class TestAge:
    @pytest.mark.parametrize(("now", "quality"), [(1.0, Quality.GOOD), (2.9, Quality.GOOD), (3.2, Quality.STALE)])
    def test_at_the_moment_of_use(self, now: float, quality: Quality) -> None:
        used = at_use(reading(1.0), now)
        assert (used.quality, used.age_s) == (quality, pytest.approx(now - 1.0))

    def test_worse_is_kept_and_nothing_is_no_staler(self) -> None:
        assert at_use(reading(0.0, quality=Quality.FROZEN), 99.0).quality is Quality.FROZEN
        assert at_use(reading(0.0, value=None), 99.0).quality is Quality.GOOD


class TestSkew:
    def test_apart(self) -> None:
        both = (reading(1.0), reading(1.3, "engine-load"), reading(9.0, "x", None))
        assert skew_s(both) == pytest.approx(0.3)
        assert skew_s(()) == 0.0

    def test_one_moment_marks_what_is_too_old_beside_the_newest(self) -> None:
        seen = one_moment((reading(1.0), reading(1.4, "engine-load"), reading(2.0, "mass-air-flow")))
        assert [r.quality for r in seen] == [Quality.STALE, Quality.STALE, Quality.GOOD]
        assert all(r.quality is Quality.GOOD for r in one_moment((reading(1.0), reading(1.2, "engine-load"))))


class TestFaults:
    def test_a_code_of_its_circuit_makes_a_reading_suspect(self) -> None:
        doubted = signals_in_fault([TroubleCode("P0118", "engine"), TroubleCode("P2135", "engine")])
        assert doubted == {"coolant-temperature": "P0118", "throttle-absolute": "P2135", "throttle-absolute-b": "P2135"}
        assert with_faults(reading(0.0, "coolant-temperature"), doubted).quality is Quality.SUSPECT
        assert with_faults(reading(0.0, "engine-speed"), doubted).quality is Quality.GOOD

    def test_others_and_permanent_ones_do_not(self) -> None:
        codes = [TroubleCode("P0118", "engine", CodeKind.PERMANENT), TroubleCode("P0128", "engine")]
        assert signals_in_fault([*codes, TroubleCode("P2176", "engine"), TroubleCode("P0301", "engine")]) == {}

    def test_the_table_names_signals_that_there_are(self) -> None:
        assert {s for _, signals in SENSOR_CODES for s in signals} <= set(CATALOGUE)


def test_the_true_rate() -> None:
    meter = RateMeter(5)
    assert meter.hz("engine-speed") is None
    for i in range(20):
        meter.add(reading(0.25 * i))
        meter.add(reading(0.25 * i, value=None))
    assert meter.hz("engine-speed") == pytest.approx(4.0)


class TestBuffer:
    @given(st.integers(1, 20), st.lists(st.one_of(st.none(), st.integers(0, 9)), max_size=60))
    def test_newest_kept_oldest_counted_nothing_twice(self, size: int, acts: list[int | None]) -> None:
        """None: the reader takes."""
        buffer, given_, taken, lost = Buffer(size), 0, [], 0
        for act in [*acts, None]:
            if act is None:
                got = buffer.take()
                taken += [r.time_s for r in got.readings]
                lost += got.lost
                assert taken[-1:] == ([given_ - 1.0] if given_ else [])
                assert len(got.readings) <= size
            else:
                buffer.add(reading(float(given_)))
                given_ += 1
        assert len(taken) + lost == given_
        assert taken == sorted(set(taken))

    def test_at_least_one(self) -> None:
        with pytest.raises(ValueError, match="at least one"):
            Buffer(0)


METER = Gauge("multimeter 2", "V", resolution=0.01, accuracy=0.05, low=0.0, high=60.0, due="2027-03")


class TestGauge:
    def test_a_typed_value_carries_its_gauge(self) -> None:
        typed = typed_reading(METER, "battery-voltage", 12.61, 5.0, Origin.VEHICLE)
        assert (typed.quality, typed.evidence, typed.unit) == (Quality.GOOD, Evidence.OBSERVED, "V")
        assert typed.u == pytest.approx(math.hypot(0.01 / math.sqrt(12), 0.05 / math.sqrt(3)))

    def test_out_of_its_range_or_overdue(self) -> None:
        assert typed_reading(METER, "v", 61.0, 0.0, Origin.VEHICLE).quality is Quality.OUT_OF_RANGE
        unknown = Gauge("old one", "V", 0.1, 0.1)
        assert typed_reading(unknown, "v", 12.0, 0.0, Origin.VEHICLE).quality is Quality.SUSPECT

    @pytest.mark.parametrize(
        "bad", [("", "V", 0.1, 0.1), ("x", "V", 0.0, 0.1), ("x", "V", 0.1, -1.0), ("x", "V", math.nan, 0.1)]
    )
    def test_a_gauge_says_what_it_is(self, bad: tuple) -> None:
        with pytest.raises(InputError) as error:
            Gauge(*bad)
        assert error.value.code is Code.GAUGE_BAD

    def test_no_number(self) -> None:
        with pytest.raises(InputError):
            typed_reading(METER, "v", math.nan, 0.0, Origin.VEHICLE)

    def test_a_typed_series_is_judged_like_any_other(self) -> None:
        room = LearnedRoom("r", "Room", "typed", LimitData("%", "ours", 10.0), "trim", (0.0, 20.0))
        series = typed_series(METER, "trim", (10.0,), (0.0,))
        assert judge(room, {"typed": (series,)}).verdict is Verdict.PASS
