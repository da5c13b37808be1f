"""Criteria of the forms that compare, foresee, or answer to something sudden; each from recordings to a verdict."""

from __future__ import annotations

import math

import msgspec
import numpy as np
import pytest

from asleft.model.reading import Series
from asleft.model.verdict import Reason, Rule, Verdict
from asleft.proof.criteria import judge
from asleft.proof.criterion_data import Criterion, FlowArea, LimitData
from asleft.proof.criterion_more import (
    Change,
    ColdAgreement,
    Dip,
    LeakageChange,
    LearnedRepeat,
    LearnedRoom,
    LevelAfter,
    MeanDifference,
    Rate,
    Recovery,
    SteadyMean,
    SteeringStraight,
    SupplyRipple,
    SupplySag,
    TwoHeadingsOf,
)
from asleft.proof.moment import Moment, When, find_moment
from asleft.proof.saved import recordings_of

Q8 = 100 / 255
RNG = np.random.default_rng(5)


def made(signal: str, unit: str, values, *, step_s: float = 0.2, q: float = 0.001, accuracy: float = 0.0) -> Series:
    v = np.round(np.asarray(values, dtype=float) / q) * q
    return Series(signal, unit, tuple(step_s * i for i in range(len(v))), tuple(map(float, v)), q, accuracy)


def noise(n: int, sd: float) -> np.ndarray:
    return sd * np.random.default_rng(11).standard_normal(n)


def ours(unit: str, low: float | None = None, high: float | None = None) -> LimitData:
    return LimitData(unit, "ours", low, high, source="common practice, no source")


PRESSURE = SteadyMean("free", "Brake pressure, free", "free", ours("bar", -1.5, 1.5), "brake-pressure", 0.3)
EGR = MeanDifference("egr", "Actual less commanded", "egr", ours("%", -5, 5), "egr-actual", "egr-commanded", 2.0)
CHANGE = Change("change", "Change of idle speed", "after", ours("rpm", -20, 20), "before", "engine-speed", 30.0)
RATE = Rate("rate", "Supply a minute", "rest", ours("V/min", -0.02), "control-module-voltage")
AFTER = LevelAfter("end", "Supply after 30 min", "rest", ours("V", 12.0), "control-module-voltage", 30.0)
LAMPS = Moment("control-module-voltage", "V", change=-0.2)
DIP = Dip("dip", "Dip when lamps come on", "load", ours("rpm", None, 150), LAMPS)
BACK = Recovery("back", "Back after lamps came on", "load", ours("s", None, 10), LAMPS)
PEDAL = Moment("accelerator-pedal-d", "%", below=16.0)
DROP = Dip("drop", "Dip after the throttle is let go", "drop", ours("rpm", None, 150), PEDAL, level=750.0)
SAG = SupplySag("sag", "Sag under the lamps", "lamps", ours("V", None, 0.8), "dark")
RIPPLE = SupplyRipple("ripple", "Ripple", "fast", ours("V", None, 0.3))
STEER = SteeringStraight("centre", "Steering centre", "there", ours("°", -1.5, 1.5), "home")
BIAS = TwoHeadingsOf("bias", "Bias", "north", ours("m/s²", -0.15, 0.15), "south", "lateral-acceleration", 0.05, 0.01)
ROOM = LearnedRoom("room", "Room of the learned value", "learned", ours("%", 10), "learned-idle-air", (0.0, 8.0))
AGAIN = LearnedRepeat("again", "Learned value again", "cycle", ours("%", None, 2.0), "learned-idle-air", 3)
COLD = ColdAgreement("cold", "Cold temperatures agree", "cold", ours("K", None, 8))
AREA = FlowArea("area", "Change of area", "after", ours("mm²"), gates=(), before="before")
BY_PRESSURE = FlowArea("area", "Area", "after", ours("mm²"), gates=(), by="pressure", displacement_l=1.6)
LEAK = LeakageChange("leak", "Change of leakage", "after", ours("mm²", None, 4.0), "before", 4.0, gates=())
ALL: tuple[Criterion, ...] = (
    PRESSURE, EGR, CHANGE, RATE, AFTER, DIP, BACK, DROP, SAG, RIPPLE, STEER, BIAS, ROOM, AGAIN, COLD, AREA,
    BY_PRESSURE, LEAK,
)  # fmt: skip


@pytest.mark.parametrize("criterion", ALL, ids=lambda c: f"{type(c).__name__} {c.id}")
def test_every_form_survives_a_round_trip_and_says_why_nothing_was_recorded(criterion: Criterion) -> None:
    assert msgspec.json.decode(msgspec.json.encode(criterion), type=Criterion) == criterion
    j = judge(criterion, {})
    assert (j.verdict, j.reasons) == (Verdict.CANNOT_TELL, (Reason.UNSUPPORTED,))
    assert "was not recorded" in j.sentence.text


class TestMeans:
    @pytest.mark.parametrize(
        ("off", "verdict"), [(0.3, Verdict.PASS), (1.52, Verdict.CANNOT_TELL), (2.5, Verdict.FAIL)]
    )
    def test_a_steady_mean(self, off: float, verdict: Verdict) -> None:
        saved = {"free": (made("brake-pressure", "bar", off + noise(80, 0.05), q=0.1),)}
        assert judge(PRESSURE, saved).verdict is verdict

    @pytest.mark.parametrize(("off", "verdict"), [(1.0, Verdict.PASS), (9.0, Verdict.FAIL)])
    def test_a_difference_of_two_signals(self, off: float, verdict: Verdict) -> None:
        course = 30 + 10 * np.sin(np.arange(120) / 9)
        saved = {
            "egr": (
                made("egr-actual", "%", course + off + noise(120, 0.2), q=Q8),
                made("egr-commanded", "%", course, q=Q8),
            )
        }
        assert judge(EGR, saved).verdict is verdict

    def test_wild_readings_are_no_mean(self) -> None:
        values = noise(80, 0.05)
        values[::12] = 9.0
        j = judge(PRESSURE, {"free": (made("brake-pressure", "bar", values, q=0.1),)})
        assert j.reasons == (Reason.UNTRUSTED,)


class TestChange:
    @pytest.mark.parametrize(("by", "verdict"), [(3.0, Verdict.PASS), (60.0, Verdict.FAIL)])
    def test_the_sensors_own_error_drops_out(self, by: float, verdict: Verdict) -> None:
        saved = {
            "before": (made("engine-speed", "rpm", 750 + noise(200, 6), q=0.25, accuracy=30.0),),
            "after": (made("engine-speed", "rpm", 750 + by + noise(200, 6), q=0.25, accuracy=30.0),),
        }
        j = judge(CHANGE, saved)
        assert j.verdict is verdict
        assert j.u < 5.0, "17 with the sensor's own error"
        assert set(j.samples) == {"before", "after"}

    def test_a_difference_of_temperatures_is_in_kelvin(self) -> None:
        warm = msgspec.structs.replace(CHANGE, signal="coolant-temperature", limits=ours("K", -2, 2), max_drift=2.0)
        saved = {
            "before": (made("coolant-temperature", "°C", 89 + noise(200, 0.1), q=0.1),),
            "after": (made("coolant-temperature", "°C", 90 + noise(200, 0.1), q=0.1),),
        }
        j = judge(warm, saved)
        assert j.verdict is Verdict.PASS
        assert j.value == pytest.approx(1.0, abs=0.1)


class TestCourse:
    @pytest.mark.parametrize(("rate", "verdict"), [(-0.004, Verdict.PASS), (-0.05, Verdict.FAIL)])
    def test_rate(self, rate: float, verdict: Verdict) -> None:
        t = np.arange(0, 180, 0.5)
        saved = {"rest": (made("control-module-voltage", "V", 12.7 + rate * t / 60 + noise(360, 0.01), step_s=0.5),)}
        assert judge(RATE, saved).verdict is verdict
        end = judge(AFTER, saved)
        assert end.value == pytest.approx(12.7 + rate * (30 + 3), abs=2 * end.u + 0.005)
        assert end.verdict is (Verdict.PASS if rate > -0.01 else Verdict.FAIL)

    def test_temperature_rises_in_kelvin_a_minute(self) -> None:
        rise = Rate("warm", "Rise", "warm", ours("K/min", 3.0), "coolant-temperature")
        t = np.arange(0, 300, 1.0)
        j = judge(rise, {"warm": (made("coolant-temperature", "°C", 20 + 6.0 * t / 60, step_s=1.0, q=1.0),)})
        assert (j.verdict, round(j.value, 1)) == (Verdict.PASS, 6.0)


def sudden(depth: float, tau_s: float = 0.8, stays: float = 0.0) -> dict[str, tuple[Series, ...]]:
    t = np.arange(0, 30, 0.2)
    since = np.maximum(t - 10, 0)
    fall = depth * (1 - np.exp(-since / 0.3)) * np.exp(-since / tau_s) + stays * (since > 0)
    return {
        "load": (
            made("engine-speed", "rpm", 750 - fall + noise(len(t), 2), q=0.25),
            made("control-module-voltage", "V", 14.0 - 0.4 * (since > 0) + noise(len(t), 0.02)),
        )
    }


class TestSudden:
    def test_dip_and_return(self) -> None:
        j = judge(DIP, sudden(120))
        assert j.verdict is Verdict.PASS
        assert 30 < j.value < 110
        back = judge(BACK, sudden(120))
        assert back.verdict is Verdict.PASS
        assert 0.5 < back.value < 4

    def test_a_deep_dip_fails(self) -> None:
        assert judge(DIP, sudden(600)).verdict is Verdict.FAIL

    def test_not_back_in_all_that_was_recorded_fails_when_that_is_longer_than_the_limit(self) -> None:
        j = judge(BACK, sudden(100, stays=60.0))
        assert j.verdict is Verdict.FAIL
        assert j.value == pytest.approx(15.0, abs=0.5)
        patient = msgspec.structs.replace(BACK, limits=ours("s", None, 60))
        assert judge(patient, sudden(100, stays=60.0)).reasons == (Reason.TIME_OUT,)

    def test_a_throttle_let_go(self) -> None:
        t = np.arange(0, 30, 0.2)
        speed = np.where(t < 10, 2500, 750 + 1750 * np.exp(-(t - 10) / 0.8) - 80 * np.exp(-(((t - 15) / 0.7) ** 2)))
        pedal = np.where(t < 10, 30.0, 14.9)
        saved = {"drop": (made("engine-speed", "rpm", speed, q=0.25), made(PEDAL.signal, "%", pedal, q=Q8))}
        j = judge(DROP, saved)
        assert j.verdict is Verdict.PASS
        assert j.value == pytest.approx(78, abs=8)

    def test_nothing_came(self) -> None:
        quiet = sudden(0)["load"][0]
        still = made("control-module-voltage", "V", 14 + noise(150, 0.02))
        j = judge(DIP, {"load": (quiet, still)})
        assert j.reasons == (Reason.WINDOW,)
        assert "a change of −0.2 V of control module voltage was not seen" in j.sentence.text

    def test_the_moment_lies_between_two_readings(self) -> None:
        found = find_moment(LAMPS, sudden(100)["load"][1])
        assert isinstance(found, When)
        assert found.earliest_s <= 10.0 <= found.latest_s
        assert found.latest_s - found.earliest_s == pytest.approx(0.2)

    @pytest.mark.parametrize("more", [{}, {"change": 0.0}, {"change": 1.0, "below": 2.0}])
    def test_a_moment_is_one_or_the_other(self, more: dict[str, float]) -> None:
        with pytest.raises(ValueError, match="either change or below"):
            Moment("s", "V", **more)


class TestSupply:
    @pytest.mark.parametrize(("sag", "verdict"), [(0.4, Verdict.PASS), (1.1, Verdict.FAIL)])
    def test_sag_between_two_recordings(self, sag: float, verdict: Verdict) -> None:
        dark = made("control-module-voltage", "V", 12.7 + noise(40, 0.01), accuracy=0.3)
        lamps = made("control-module-voltage", "V", 12.7 - sag + noise(40, 0.01), accuracy=0.3)
        assert judge(SAG, {"dark": (dark,), "lamps": (lamps,)}).verdict is verdict

    @pytest.mark.parametrize(("half", "verdict"), [(0.04, Verdict.PASS), (0.3, Verdict.FAIL)])
    def test_ripple(self, half: float, verdict: Verdict) -> None:
        t = np.arange(0, 20, 0.1)
        saved = {"fast": (made("control-module-voltage", "V", 14 + half * np.sin(9.3 * t), step_s=0.1),)}
        assert judge(RIPPLE, saved).verdict is verdict


def drive(offset: float) -> tuple[Series, ...]:
    t = np.arange(0, 60, 0.1)
    yaw, v = 0.2 * np.sin(t / 4), 60 / 3.6
    angle = offset + 15 * (2.7 + 0.0025 * v**2) / v * yaw + noise(600, 0.1)
    return (
        made("steering-angle", "°", angle, step_s=0.1, q=0.1),
        made("yaw-rate", "°/s", yaw, step_s=0.1, q=0.01),
        made("vehicle-speed", "km/h", np.full(600, 60.0), step_s=0.1, q=1.0),
    )


class TestSteering:
    @pytest.mark.parametrize(
        ("there", "home", "verdict"),
        [(0.4, 0.1, Verdict.PASS), (2.6, 2.3, Verdict.FAIL), (2.0, 0.2, Verdict.CANNOT_TELL)],
    )
    def test_both_directions(self, there: float, home: float, verdict: Verdict) -> None:
        assert judge(STEER, {"there": drive(there), "home": drive(home)}).verdict is verdict

    def test_one_direction_is_not_enough(self) -> None:
        assert judge(STEER, {"there": drive(0.2)}).reasons == (Reason.UNSUPPORTED,)


class TestHeadings:
    def saved(self, bias: float, floor_deg: float) -> dict[str, tuple[Series, ...]]:
        g = 9.80665 * math.sin(math.radians(floor_deg))
        return {
            name: (made("lateral-acceleration", "m/s²", bias + sign * g + noise(200, 0.02), step_s=0.05, q=0.01),)
            for name, sign in (("north", 1), ("south", -1))
        }

    @pytest.mark.parametrize(
        ("bias", "verdict"), [(0.05, Verdict.PASS), (0.15, Verdict.CANNOT_TELL), (0.26, Verdict.FAIL)]
    )
    def test_the_floor_does_not_matter(self, bias: float, verdict: Verdict) -> None:
        assert judge(BIAS, self.saved(bias, 1.2)).verdict is verdict

    def test_the_floor_in_degrees(self) -> None:
        floor = msgspec.structs.replace(BIAS, part="slope", limits=ours("°", -0.5, 0.5))
        j = judge(floor, self.saved(0.3, 1.2))
        assert (j.verdict, round(j.value, 1)) == (Verdict.FAIL, 1.2)


class TestLearned:
    @pytest.mark.parametrize(
        ("value", "verdict"),
        [(4.0, Verdict.PASS), (0.8, Verdict.CANNOT_TELL), (0.1, Verdict.FAIL), (8.4, Verdict.FAIL)],
    )
    def test_room_to_the_end(self, value: float, verdict: Verdict) -> None:
        assert judge(ROOM, {"learned": (made("learned-idle-air", "g/s", [value], q=0.05),)}).verdict is verdict

    @pytest.mark.parametrize(("values", "verdict"), [((30, 30.4, 30), Verdict.PASS), ((30, 34, 31), Verdict.FAIL)])
    def test_the_same_again(self, values: tuple[float, ...], verdict: Verdict) -> None:
        saved = {f"cycle/{i + 1}": (made("learned-idle-air", "%", [v], q=Q8),) for i, v in enumerate(values)}
        assert judge(AGAIN, saved).verdict is verdict
        del saved["cycle/2"]
        assert judge(AGAIN, saved).reasons == (Reason.TOO_FEW,)

    def test_a_window_has_a_lower_end(self) -> None:
        with pytest.raises(ValueError, match="the lower end first"):
            msgspec.structs.replace(ROOM, window=(8.0, 0.0))


class TestCold:
    @pytest.mark.parametrize(("coolant", "verdict"), [(22.0, Verdict.PASS), (40.0, Verdict.FAIL)])
    def test_agreement(self, coolant: float, verdict: Verdict) -> None:
        saved = {
            "cold": (
                made("coolant-temperature", "°C", [coolant] * 15, q=1.0, accuracy=2.0),
                made("intake-air-temperature", "°F", [68.0] * 15, q=1.0, accuracy=4.0),
            )
        }
        assert judge(COLD, saved).verdict is verdict


def air(flow: float, plate: float = 14.0, plate_q: float = 0.025) -> tuple[Series, ...]:
    n = 200
    return (
        made("mass-air-flow", "g/s", flow + noise(n, 0.02), q=0.01, accuracy=0.12),
        made("barometric-pressure", "kPa", np.full(n, 100.0), q=1.0, accuracy=1.0),
        made("intake-air-temperature", "°C", np.full(n, 30.0), q=1.0, accuracy=2.0),
        made("manifold-pressure", "kPa", np.full(n, 32.0), q=1.0, accuracy=1.0),
        made("engine-speed", "rpm", 750 + noise(n, 4), q=0.25),
        made("throttle-absolute", "%", np.full(n, plate), q=plate_q),
    )


class TestAir:
    def test_the_change_of_area_is_known_better_than_the_area(self) -> None:
        saved = {"before": air(2.5), "after": air(3.0)}
        change = judge(AREA, saved)
        assert change.rule is Rule.REPORT_ONLY
        assert change.value == pytest.approx(0.5 * 1e3 * math.sqrt(287.05 * 303.15) / (100e3 * 0.6847), rel=0.02)
        alone = judge(msgspec.structs.replace(AREA, before=""), saved)
        assert change.u < alone.u

    def test_by_pressure(self) -> None:
        j = judge(BY_PRESSURE, {"after": air(2.5)})
        flow = 1e3 * 0.8 * 32e3 * 1.6e-3 * 750 / (120 * 287.05 * 303.15)
        assert j.value == pytest.approx(flow * math.sqrt(287.05 * 303.15) * 1e3 / (100e3 * 0.6847), rel=0.01)
        with pytest.raises(ValueError, match="displacement_l"):
            msgspec.structs.replace(BY_PRESSURE, displacement_l=0.0)

    def test_a_common_filling_scales_the_change_only(self) -> None:
        both = msgspec.structs.replace(BY_PRESSURE, before="before")
        j = judge(both, {"before": air(2.5), "after": air(2.5)})
        assert abs(j.value) < 0.05
        assert j.u < 0.6 * judge(BY_PRESSURE, {"after": air(2.5)}).u

    def test_leakage_needs_a_fine_plate(self) -> None:
        fine = judge(LEAK, {"before": air(2.5), "after": air(3.0)})
        assert fine.verdict is Verdict.PASS
        coarse = judge(LEAK, {"before": air(2.5, 14.1, Q8), "after": air(3.0, 14.1, Q8)})
        assert coarse.reasons == (Reason.RESOLUTION,)
        moved = judge(LEAK, {"before": air(2.5), "after": air(3.0, 14.5)})
        assert moved.reasons == (Reason.WINDOW,)


def test_names_of_all_recordings() -> None:
    assert recordings_of(SAG) == ("lamps", "dark")
    assert recordings_of(STEER) == ("there", "home")
    assert recordings_of(PRESSURE) == ("free",)


GARBAGE = {
    "two": ((0.0, 1.0), (1.0, 2.0)),
    "not a number": (tuple(range(400)), (math.nan,) * 400),
    "backwards": (tuple(range(400, 0, -1)), tuple(float(i % 7) for i in range(400))),
    "repeated": ((0.0,) * 400, tuple(float(i % 7) for i in range(400))),
    "constant": (tuple(0.2 * i for i in range(400)), (0.0,) * 400),
    "huge": (tuple(0.2 * i for i in range(400)), tuple(1e300 * (i % 2) for i in range(400))),
    "gap": ((0.0, 1.0, *(1e9 + i for i in range(398))), tuple(float(i % 7) for i in range(400))),
}


@pytest.mark.filterwarnings("ignore::RuntimeWarning")
@pytest.mark.parametrize("case", GARBAGE)
@pytest.mark.parametrize("criterion", ALL, ids=lambda c: f"{type(c).__name__} {c.id}")
def test_no_recording_crashes_a_form_or_gets_a_number_without_uncertainty(criterion: Criterion, case: str) -> None:
    units = {
        "brake-pressure": "bar", "egr-actual": "%", "egr-commanded": "%", "engine-speed": "rpm",
        "control-module-voltage": "V", "accelerator-pedal-d": "%", "steering-angle": "°", "yaw-rate": "°/s",
        "vehicle-speed": "km/h", "lateral-acceleration": "m/s²", "learned-idle-air": "%",
        "coolant-temperature": "°C", "intake-air-temperature": "°C", "mass-air-flow": "g/s",
        "barometric-pressure": "kPa", "manifold-pressure": "kPa", "throttle-absolute": "%",
    }  # fmt: skip
    times, values = GARBAGE[case]
    series = tuple(Series(s, u, times, values, Q8) for s, u in units.items())
    names = [
        "free",
        "egr",
        "before",
        "after",
        "rest",
        "load",
        "drop",
        "lamps",
        "dark",
        "fast",
        "there",
        "home",
        "north",
        "south",
        "learned",
        "cold",
    ]
    saved = dict.fromkeys((*names, "cycle/1", "cycle/2", "cycle/3"), series)
    j = judge(criterion, saved)
    assert j.sentence is not None
    assert j.value is None or (j.u is not None and j.u > 0.0)
    if case in {"not a number", "backwards", "repeated"}:
        assert j.verdict is not Verdict.PASS
