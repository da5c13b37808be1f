"""Criteria as data and as judgements over saved recordings."""

from __future__ import annotations

import math

import msgspec
import numpy as np
import pytest

from asleft.model.reading import Series
from asleft.model.trouble import CodeKind, TroubleCode
from asleft.model.verdict import LimitOwner, Reason, Rule, Verdict
from asleft.proof.codes import CodesSeen
from asleft.proof.criteria import judge, select
from asleft.proof.criterion_data import (
    CodeAbsent,
    Criterion,
    DualRatio,
    DualSum,
    FlowArea,
    IdleHunting,
    IdleMean,
    IdleSpread,
    LimitData,
    RestRange,
    TrackingResidual,
    TrackingSlope,
    TrimSum,
    ZeroAtRest,
)

Q8 = 100.0 / 255.0
SPEED = LimitData("rpm", "ours", 700.0, 800.0)


def series(signal: str, values, unit: str, q: float, step_s: float = 0.2, begin_s: float = 0.0) -> Series:
    return Series(signal, unit, tuple(begin_s + step_s * i for i in range(len(values))), tuple(map(float, values)), q)


def idle(
    speed: float = 750.0, sd: float = 5.0, n: int = 400, coolant: float = 90.0, seed: int = 3, **more
) -> dict[str, tuple[Series, ...]]:
    rng = np.random.default_rng(seed)
    rpm = np.round((speed + sd * rng.standard_normal(n)) * 4) / 4 + more.get("ramp", 0.0) * np.arange(n) / n
    load = more.get("load", np.full(n, 30.0))
    return {
        "idle": (
            series("engine-speed", rpm, "rpm", 0.25),
            series("vehicle-speed", np.full(n, more.get("road", 0.0)), "km/h", 1.0),
            series("coolant-temperature", np.full(n, coolant), "°C", 1.0),
            series("engine-load", load, "%", Q8),
            series("short-term-trim-1", np.round(2 + rng.standard_normal(n)), "%", 0.78),
            series("long-term-trim-1", np.full(n, -1.0), "%", 0.78),
        )
    }


MEAN = IdleMean("mean", "Mean idle speed", "idle", SPEED)
SPREAD = IdleSpread("spread", "Spread of idle speed", "idle", LimitData("rpm", "ours", None, 15.0))
TRIMS = TrimSum("trims", "Fuel trims together", "idle", LimitData("%", "ours", -10.0, 10.0))
REST = RestRange("rest", "Range of the rest reading", "rest", LimitData("%", "ours", None, 1.2))
SLOPE = TrackingSlope("slope", "Slope", "sweep", LimitData("1", "ours", 0.95, 1.05))
REMAINS = TrackingResidual("remains", "What remains", "sweep", LimitData("%", "ours", None, 0.8))
CODE = CodeAbsent("code", "Idle position learned", ("P2176",), modules=("engine",), cycles=5)


class TestIdle:
    def test_a_good_idle_passes_and_says_where_it_was_seen(self) -> None:
        j = judge(MEAN, idle())
        assert j.verdict is Verdict.PASS
        assert j.value == pytest.approx(750, abs=3)
        assert j.samples == ("idle",)
        assert j.window_s is not None
        assert j.window_s[1] - j.window_s[0] == pytest.approx(30.0, abs=0.3)
        assert judge(SPREAD, idle()).verdict is Verdict.PASS

    def test_a_high_idle_fails(self) -> None:
        assert judge(MEAN, idle(speed=1010.0)).verdict is Verdict.FAIL

    def test_a_rough_idle_fails_its_spread(self) -> None:
        assert judge(SPREAD, idle(sd=30.0)).verdict is Verdict.FAIL

    @pytest.mark.parametrize(
        ("change", "words"),
        [
            ({"coolant": 60.0}, "coolant temperature must be at least 80 °C, it was 60 °C"),
            ({"road": 20.0}, "vehicle speed must be at most 0 km/h, it was 20 km/h"),
            ({"load": np.where(np.arange(400) // 50 % 2, 40.0, 28.0)}, "engine load must not step by more than 4 %"),
            ({"ramp": 200.0}, "engine speed still changed by"),
        ],
    )
    def test_the_wrong_time_to_judge(self, change: dict[str, object], words: str) -> None:
        j = judge(MEAN, idle(**change))  # type: ignore[arg-type]
        assert (j.verdict, j.reasons) == (Verdict.CANNOT_TELL, (Reason.WINDOW,))
        assert j.sentence is not None
        assert words in j.sentence.text

    def test_a_short_recording(self) -> None:
        j = judge(MEAN, idle(n=100))
        assert j.sentence is not None
        assert "the longest time in which all held was 20 s, 30 s are needed" in j.sentence.text

    def test_a_frozen_speed(self) -> None:
        saved = idle()
        stuck = series("engine-speed", [750.0] * 400, "rpm", 0.25)
        assert judge(MEAN, {"idle": (stuck, *saved["idle"][1:])}).reasons == (Reason.FROZEN,)

    def test_wild_readings_are_not_averaged_in_and_not_taken_out(self) -> None:
        saved = idle()
        rpm = [v - 300.0 * (i % 25 == 0) for i, v in enumerate(saved["idle"][0].values)]
        stumbles = {"idle": (series("engine-speed", rpm, "rpm", 0.25), *saved["idle"][1:])}
        assert judge(MEAN, stumbles).reasons == (Reason.UNTRUSTED,)
        assert judge(SPREAD, stumbles).verdict is Verdict.FAIL

    def test_an_optional_signal_that_was_not_recorded_does_not_close_the_gate(self) -> None:
        saved = {"idle": tuple(s for s in idle()["idle"] if s.signal != "engine-load")}
        assert judge(MEAN, saved).verdict is Verdict.PASS

    def test_a_needed_one_does(self) -> None:
        saved = {"idle": tuple(s for s in idle()["idle"] if s.signal != "coolant-temperature")}
        assert judge(MEAN, saved).reasons == (Reason.UNSUPPORTED,)

    def test_trims(self) -> None:
        j = judge(TRIMS, idle())
        assert (j.verdict, j.value) == (Verdict.PASS, pytest.approx(1.0, abs=0.5))

    def test_the_choice_of_window_does_not_look_at_the_judged_signal(self) -> None:
        quiet_in_the_middle = idle(n=900, sd=30.0)
        rpm = list(quiet_in_the_middle["idle"][0].values)
        rpm[300:460] = [750.0 + (i % 3) for i in range(160)]
        saved = {"idle": (series("engine-speed", rpm, "rpm", 0.25), *quiet_in_the_middle["idle"][1:])}
        assert judge(SPREAD, saved).verdict is Verdict.FAIL


AIR = {
    "mass-air-flow": ("g/s", 2.53, 0.03, 0.01),
    "barometric-pressure": ("kPa", 100.0, 0.0, 1.0),
    "intake-air-temperature": ("°C", 30.0, 0.0, 1.0),
    "manifold-pressure": ("kPa", 31.0, 0.4, 1.0),
}


class TestMoreForms:
    def with_air(self, **more) -> dict[str, tuple[Series, ...]]:
        rng = np.random.default_rng(8)
        made = [
            series(name, np.round((value + sd * rng.standard_normal(400)) / q) * q, unit, q)
            for name, (unit, value, sd, q) in AIR.items()
        ]
        return {"idle": (*idle()["idle"], *made)}

    def test_flow_area_is_reported(self) -> None:
        j = judge(FlowArea("area", "Total flow area", "idle", LimitData("mm²", "ours")), self.with_air())
        assert j.rule is Rule.REPORT_ONLY
        assert j.value == pytest.approx(10.9, abs=0.1)  # TRADE 7.5: 2.53 g/s, 100 kPa, 30 °C
        assert j.u is not None
        assert 0.01 < j.u < 0.3

    def test_flow_area_needs_all_four(self) -> None:
        saved = {"idle": tuple(s for s in self.with_air()["idle"] if s.signal != "barometric-pressure")}
        j = judge(FlowArea("area", "Total flow area", "idle", LimitData("mm²", "ours", None, 20.0)), saved)
        assert j.reasons == (Reason.UNSUPPORTED,)

    @pytest.mark.parametrize(("amplitude", "verdict"), [(0.0, Verdict.PASS), (40.0, Verdict.FAIL)])
    def test_hunting(self, amplitude: float, verdict: Verdict) -> None:
        saved = idle(n=400)
        t = 0.2 * np.arange(400)
        speed = series("engine-speed", np.asarray(saved["idle"][0].values) + amplitude * np.sin(4 * t), "rpm", 0.25)
        form = IdleHunting("hunting", "Hunting", "idle", LimitData("rpm", "ours", None, 15.0))
        assert judge(form, {"idle": (speed, *saved["idle"][1:])}).verdict is verdict

    @pytest.mark.parametrize(("off", "verdict"), [(0.0, Verdict.PASS), (6.0, Verdict.FAIL)])
    def test_dual_sum(self, off: float, verdict: Verdict) -> None:
        travel = np.concatenate([np.linspace(10, 80, 80), np.linspace(80, 10, 80)])
        saved = {
            "sweep": (
                series("throttle-absolute", np.round(travel / Q8) * Q8, "%", Q8),
                series("throttle-absolute-b", np.round((100 + off - travel) / Q8) * Q8, "%", Q8),
            )
        }
        assert judge(DualSum("sum", "Sum", "sweep", LimitData("%", "ours", None, 3.0)), saved).verdict is verdict
        assert judge(DualSum("sum", "Sum", "no", LimitData("%", "ours", None, 3.0)), saved).reasons == (
            Reason.UNSUPPORTED,
        )

    @pytest.mark.parametrize(("slope", "verdict"), [(0.5, Verdict.PASS), (0.42, Verdict.FAIL)])
    def test_dual_ratio(self, slope: float, verdict: Verdict) -> None:
        travel = np.concatenate([np.linspace(30, 90, 80), np.linspace(90, 30, 80)])
        saved = {
            "sweep": (
                series("accelerator-pedal-d", np.round(travel / Q8) * Q8, "%", Q8),
                series("accelerator-pedal-e", np.round(slope * travel / Q8) * Q8, "%", Q8),
            )
        }
        form = DualRatio("ratio", "Ratio", "sweep", LimitData("1", "ours", None, 0.1))
        assert judge(form, saved).verdict is verdict

    @pytest.mark.parametrize(("bias", "verdict"), [(0.02, Verdict.PASS), (0.5, Verdict.FAIL)])
    def test_zero_at_rest(self, bias: float, verdict: Verdict) -> None:
        values = bias + 0.02 * np.random.default_rng(2).standard_normal(100)
        saved = {"rest": (series("yaw-rate", np.round(values, 2), "°/s", 0.01),)}
        form = ZeroAtRest("yaw", "Yaw at rest", "rest", LimitData("°/s", "ours", -0.2, 0.2), "yaw-rate", 0.1, 0.02)
        assert judge(form, saved).verdict is verdict
        assert judge(form, {}).reasons == (Reason.UNSUPPORTED,)


class TestThrottle:
    def rests(self, counts: list[int]) -> dict[str, tuple[Series, ...]]:
        return {
            f"rest/{i + 1}": (series("throttle-absolute", [c * Q8] * 10, "%", Q8, begin_s=30.0 * i),)
            for i, c in enumerate(counts)
        }

    def test_rest_range_over_numbered_recordings(self) -> None:
        j = judge(REST, self.rests([36, 37, 36, 36, 38]))
        assert (j.verdict, j.value) == (Verdict.PASS, pytest.approx(2 * Q8))
        assert j.samples == ("rest/1", "rest/2", "rest/3", "rest/4", "rest/5")

    def test_numbers_are_read_as_numbers(self) -> None:
        saved = self.rests(list(range(36, 48)))
        assert [s.values[0] for s in select(saved, "rest", "throttle-absolute")] == [c * Q8 for c in range(36, 48)]

    def test_names_with_the_signal_in_them_are_found_too(self) -> None:
        saved = {f"{name}/throttle-absolute": s for name, s in self.rests([36] * 5).items()}
        assert judge(REST, saved).verdict is Verdict.PASS

    def test_a_missing_sweep(self) -> None:
        j = judge(SLOPE, {})
        assert (j.verdict, j.reasons) == (Verdict.CANNOT_TELL, (Reason.UNSUPPORTED,))

    @pytest.mark.parametrize(("slope", "verdict"), [(1.0, Verdict.PASS), (0.85, Verdict.FAIL)])
    def test_slope_and_what_remains(self, slope: float, verdict: Verdict) -> None:
        command = np.concatenate([np.linspace(5, 60, 60), np.linspace(60, 5, 60)])
        saved = {
            "sweep": (
                series("throttle-absolute", np.round((4 + slope * command) / Q8) * Q8, "%", Q8),
                series("throttle-commanded", np.round(command / Q8) * Q8, "%", Q8),
            )
        }
        assert judge(SLOPE, saved).verdict is verdict
        assert judge(REMAINS, saved).verdict is Verdict.PASS


class TestCodes:
    code = TroubleCode("P2176", "engine")

    def test_gone(self) -> None:
        j = judge(CODE, {}, CodesSeen(after=(), read=("engine",), before=(self.code,), cycles=5))
        assert (j.verdict, j.value, j.u) == (Verdict.PASS, 0.0, 0.0)

    @pytest.mark.parametrize("kind", [CodeKind.STORED, CodeKind.PENDING])
    def test_back(self, kind: CodeKind) -> None:
        j = judge(CODE, {}, CodesSeen(after=(TroubleCode("P2176", "engine", kind),), read=("engine",), cycles=5))
        assert j.verdict is Verdict.FAIL

    def test_a_permanent_entry_is_named_not_judged(self) -> None:
        kept = TroubleCode("P2176", "engine", CodeKind.PERMANENT)
        j = judge(CODE, {}, CodesSeen(after=(kept,), read=("engine",), cycles=5))
        assert j.verdict is Verdict.PASS
        assert j.sentence is not None
        assert "stays as permanent" in j.sentence.text

    @pytest.mark.parametrize(
        ("seen", "reason"),
        [
            (None, Reason.UNSUPPORTED),
            (CodesSeen(after=None), Reason.UNSUPPORTED),
            (CodesSeen(after=(), read=("body",), cycles=5), Reason.UNSUPPORTED),
            (CodesSeen(after=(), read=("engine",), cycles=1), Reason.WINDOW),
        ],
    )
    def test_nobody_looked(self, seen: CodesSeen | None, reason: Reason) -> None:
        j = judge(CODE, {}, seen)
        assert (j.verdict, j.reasons) == (Verdict.CANNOT_TELL, (reason,))


class TestData:
    def test_a_criterion_is_read_from_plain_data(self) -> None:
        data = {
            "form": "tracking-slope",
            "id": "slope",
            "name": "Slope",
            "saved": "sweep",
            "limits": {"low": 0.95, "high": 1.05, "unit": "1", "owner": "printed", "source": "manual, page 7"},
        }
        read = msgspec.convert(data, Criterion)
        assert isinstance(read, TrackingSlope)
        assert read.limits.limits().owner is LimitOwner.PRINTED
        assert judge(read, {}).rule is Rule.SIMPLE

    @pytest.mark.parametrize(
        "spoil",
        [
            {"form": "no-such-form"},
            {"surprise": 1},
            {"id": "Not A Slug"},
            {"limits": {"unit": "1", "owner": "ours", "low": 2.0, "high": 1.0}},
            {"limits": {"unit": "1", "owner": "printed", "high": 1.0}},
            {"limits": {"unit": "1", "owner": "theirs", "high": 1.0}},
        ],
    )
    def test_what_does_not_belong_is_refused(self, spoil: dict[str, object]) -> None:
        data = {
            "form": "rest-range",
            "id": "rest",
            "name": "n",
            "saved": "rest",
            "limits": {"unit": "%", "owner": "ours", "high": 1.2},
        }
        with pytest.raises(msgspec.ValidationError):
            msgspec.convert({**data, **spoil}, Criterion)

    def test_without_limits_it_is_reported(self) -> None:
        j = judge(IdleMean("mean", "Mean idle speed", "idle", LimitData("rpm", "ours")), idle())
        assert (j.rule, j.reasons) == (Rule.REPORT_ONLY, (Reason.NO_TARGET,))
        assert j.value == pytest.approx(750, abs=3)

    def test_every_form_survives_a_round_trip(self) -> None:
        for criterion in (MEAN, SPREAD, TRIMS, REST, SLOPE, REMAINS, CODE):
            assert msgspec.json.decode(msgspec.json.encode(criterion), type=Criterion) == criterion

    def test_a_limit_in_another_unit_of_the_same_quantity(self) -> None:
        in_ratio = RestRange("rest", "Rest", "rest", LimitData("1", "ours", None, 0.012))
        saved = {f"rest/{i}": (series("throttle-absolute", [36 * Q8] * 10, "%", Q8),) for i in range(5)}
        j = judge(in_ratio, saved)
        assert (j.verdict, j.u) == (Verdict.PASS, pytest.approx(Q8 / math.sqrt(6) / 100))

    def test_a_limit_of_another_quantity(self) -> None:
        in_volts = RestRange("rest", "Rest", "rest", LimitData("V", "ours", None, 1.2))
        saved = {f"rest/{i}": (series("throttle-absolute", [36 * Q8] * 10, "%", Q8),) for i in range(5)}
        assert judge(in_volts, saved).reasons == (Reason.CONTRADICTION,)


GARBAGE = {
    "empty": ((), ()),
    "one": ((0.0,), (1.0,)),
    "two": ((0.0, 1.0), (1.0, 2.0)),
    "not a number": (tuple(range(400)), (math.nan,) * 400),
    "backwards": (tuple(range(400, 0, -1)), tuple(float(i % 7) for i in range(400))),
    "repeated": ((0.0,) * 400, tuple(float(i % 7) for i in range(400))),
    "constant": (tuple(0.2 * i for i in range(400)), (0.0,) * 400),
    "huge": (tuple(0.2 * i for i in range(400)), tuple(1e300 * (i % 2) for i in range(400))),
    "gap": ((0.0, 1.0, *(1e9 + i for i in range(398))), tuple(float(i % 7) for i in range(400))),
}


@pytest.mark.filterwarnings("ignore:overflow:RuntimeWarning", "ignore:invalid value:RuntimeWarning")
@pytest.mark.parametrize("case", GARBAGE)
@pytest.mark.parametrize("criterion", [MEAN, SPREAD, TRIMS, REST, SLOPE, REMAINS], ids=lambda c: c.id)
def test_no_recording_crashes_a_criterion_or_gets_a_pass_without_uncertainty(criterion: Criterion, case: str) -> None:
    times, values = GARBAGE[case]
    signals = {
        "engine-speed": "rpm",
        "vehicle-speed": "km/h",
        "coolant-temperature": "°C",
        "throttle-absolute": "%",
        "throttle-commanded": "%",
        "short-term-trim-1": "%",
        "long-term-trim-1": "%",
    }
    made = tuple(Series(s, unit, times, values, Q8) for s, unit in signals.items())
    saved = {"idle": made, "sweep": made, **{f"rest/{i}": made for i in range(5)}}
    j = judge(criterion, saved)
    if case == "constant" and criterion is REST:  # five recordings at one place, here at the end of the range
        assert j.verdict is Verdict.CANNOT_TELL
    assert j.verdict is not Verdict.PASS
    assert j.value is None or (j.u is not None and j.u > 0.0)
    assert j.sentence is not None
