"""Conditions over time: what is met, what is lost, what is not known, and what the person is told."""

from __future__ import annotations

import math

import pytest

from asleft.model.condition import Condition, ConditionKind, ConditionResult, ConditionState
from asleft.model.errors import Code, RunError
from asleft.model.origin import Origin
from asleft.model.reading import Absence, AbsenceKind, Evidence, Quality, Reading
from asleft.proof.conditions import ConditionWatch
from asleft.proof.outlook import Outlook
from asleft.proof.seen import seen

MET, NOT_MET, NOT_KNOWN = ConditionState.MET, ConditionState.NOT_MET, ConditionState.NOT_KNOWN


def reading(value: float | None, time_s: float, signal: str = "coolant-temperature", unit: str = "°C", **more: object):
    absence = more.pop("absence", None)
    return Reading(signal, value, unit, 0.3, time_s, Origin.BENCH, absence=absence, **more)  # type: ignore[arg-type]


def absent(kind: AbsenceKind, time_s: float) -> Reading:
    return reading(None, time_s, absence=Absence(kind))


def warm(**more: object) -> ConditionWatch:
    settings: dict[str, object] = {"low": 65.0, "unit": "°C", **more}
    return ConditionWatch(
        Condition("warm", "coolant warm", ConditionKind.AT_LEAST, "coolant-temperature", **settings),  # type: ignore[arg-type]
        name="coolant",
    )


def feed(watch: ConditionWatch, values: dict[float, float]) -> ConditionResult:
    result = watch.at(0.0)
    for time_s, value in values.items():
        result = watch.update(reading(value, time_s, watch.condition.signal, watch.condition.unit))
    return result


def told(result: ConditionResult) -> str:
    return result.reason.text if result.reason else ""


class TestLimits:
    def test_at_least_says_by_how_much_it_is_missed(self) -> None:
        result = warm().update(reading(58.0, 1.0))
        assert result.state is NOT_MET
        assert result.margin == -7.0
        assert told(result) == "coolant 58 °C, needs at least 65 °C"

    def test_the_limit_itself_is_inside(self) -> None:
        result = warm().update(reading(65.0, 1.0))
        assert (result.state, result.margin, result.reason) == (MET, 0.0, None)

    def test_a_value_just_below_is_not_rounded_onto_the_limit(self) -> None:
        assert told(warm().update(reading(64.6, 1.0))) == "coolant 64.6 °C, needs at least 65 °C"

    def test_at_most(self) -> None:
        watch = ConditionWatch(Condition("stands", "car stands", ConditionKind.AT_MOST, "vehicle-speed", high=0.0))
        assert watch.update(reading(0.0, 1.0, "vehicle-speed", "1")).state is MET
        assert watch.update(reading(3.0, 2.0, "vehicle-speed", "1")).state is NOT_MET

    @pytest.mark.parametrize(
        ("value", "state", "margin"), [(12.0, NOT_MET, -0.4), (13.0, MET, 0.6), (15.0, NOT_MET, -0.5)]
    )
    def test_within(self, value: float, state: ConditionState, margin: float) -> None:
        condition = Condition("supply", "supply", ConditionKind.WITHIN, "v", low=12.4, high=14.5, unit="V")
        result = ConditionWatch(condition).update(reading(value, 1.0, "v", "V"))
        assert result.state is state
        assert result.margin == pytest.approx(margin)

    def test_fahrenheit_is_converted_before_it_is_compared(self) -> None:
        assert warm().update(reading(140.0, 1.0, unit="°F")).state is NOT_MET
        assert warm().update(reading(150.0, 1.0, unit="°F")).state is MET

    def test_a_unit_of_another_quantity_is_not_known(self) -> None:
        result = warm().update(reading(90.0, 1.0, unit="V"))
        assert (result.state, told(result)) == (NOT_KNOWN, "coolant comes in V, the condition is in °C")

    def test_another_signal_is_a_mistake_of_the_caller(self) -> None:
        with pytest.raises(ValueError, match="watches coolant-temperature"):
            warm().update(reading(90.0, 1.0, "engine-speed"))


class TestHolding:
    def test_it_must_hold_without_a_break(self) -> None:
        watch = warm(hold_s=3.0)
        result = feed(watch, {0.0: 70.0, 1.0: 70.0, 2.0: 70.0})
        assert (result.state, result.held_s) == (NOT_MET, 2.0)
        assert told(result) == "coolant 70 °C: has held for 2 s, needs 3 s"
        assert feed(watch, {3.0: 70.0}).state is MET

    def test_a_break_begins_again(self) -> None:
        watch = warm(hold_s=3.0)
        feed(watch, {0.0: 70.0, 2.0: 70.0, 2.5: 60.0})
        assert feed(watch, {3.5: 70.0}).held_s == 0.0
        assert feed(watch, {4.0: 70.0}).state is NOT_MET

    def test_what_was_not_seen_breaks_the_hold_too(self) -> None:
        watch = warm(hold_s=3.0, max_age_s=2.0)
        assert feed(watch, {0.0: 70.0, 1.0: 70.0, 4.0: 70.0}).state is NOT_MET
        assert feed(watch, {5.0: 70.0, 6.0: 70.0, 7.0: 70.0}).state is MET

    def test_time_alone_does_not_make_it_hold(self) -> None:
        watch = warm(hold_s=1.5)
        feed(watch, {0.0: 70.0, 1.0: 70.0})
        assert watch.at(2.4).state is NOT_MET


class TestHysteresis:
    def test_enters_at_the_tight_limit_and_leaves_at_the_loose_one(self) -> None:
        watch = warm(leave_low=60.0)
        assert feed(watch, {0.0: 64.0}).state is NOT_MET
        assert feed(watch, {1.0: 66.0}).state is MET
        inside = feed(watch, {2.0: 61.0})
        assert (inside.state, inside.margin) == (MET, 1.0)
        assert feed(watch, {3.0: 59.0}).state is NOT_MET
        assert feed(watch, {4.0: 64.0}).state is NOT_MET

    def test_debounce_lets_one_stray_reading_pass_but_not_a_lasting_one(self) -> None:
        watch = warm(debounce_s=1.0)
        feed(watch, {0.0: 70.0})
        stray = feed(watch, {0.5: 60.0})
        assert stray.state is MET
        assert stray.margin == -5.0
        assert feed(watch, {0.9: 70.0}).state is MET
        assert feed(watch, {1.2: 60.0, 1.8: 60.0}).state is MET
        assert feed(watch, {2.2: 60.0}).state is NOT_MET

    def test_debounce_does_not_help_to_enter(self) -> None:
        assert feed(warm(debounce_s=5.0), {0.0: 60.0}).state is NOT_MET


class TestNotKnown:
    def test_before_the_first_reading(self) -> None:
        assert (warm().at(0.0).state, told(warm().at(0.0))) == (NOT_KNOWN, "coolant: no reading came")

    def test_an_old_reading(self) -> None:
        watch = warm(max_age_s=2.0)
        watch.update(reading(70.0, 1.0))
        assert watch.at(3.0).state is MET
        stale = watch.at(3.5)
        assert (stale.state, stale.margin, told(stale)) == (NOT_KNOWN, None, "coolant: the last reading is 2.5 s old")

    def test_a_reading_that_was_old_when_it_came(self) -> None:
        assert warm(max_age_s=2.0).update(reading(70.0, 1.0, age_s=2.5)).state is NOT_KNOWN

    @pytest.mark.parametrize("quality", [q for q in Quality if q is not Quality.GOOD])
    def test_a_doubted_reading_breaks_what_held(self, quality: Quality) -> None:
        watch = warm(hold_s=1.0)
        assert feed(watch, {0.0: 70.0, 1.0: 70.0}).state is MET
        assert watch.update(reading(70.0, 1.5, quality=quality)).state is NOT_KNOWN
        assert feed(watch, {2.0: 70.0}).state is NOT_MET

    @pytest.mark.parametrize(
        ("kind", "words"),
        [
            (AbsenceKind.UNSUPPORTED, "coolant: this car does not report it"),
            (AbsenceKind.REFUSED, "coolant: the module refused to report it"),
        ],
    )
    def test_an_absence_says_which(self, kind: AbsenceKind, words: str) -> None:
        watch = warm()
        watch.update(reading(70.0, 0.0))
        result = watch.update(absent(kind, 0.5))
        assert (result.state, told(result)) == (NOT_KNOWN, words)

    def test_one_reading_that_did_not_come_is_bridged_until_the_last_is_too_old(self) -> None:
        watch = warm(max_age_s=2.0)
        watch.update(reading(70.0, 0.0))
        assert watch.update(absent(AbsenceKind.NOT_READ, 1.0)).state is MET
        assert watch.update(absent(AbsenceKind.NOT_READ, 2.5)).state is NOT_KNOWN

    def test_a_reading_from_the_past_is_not_used(self) -> None:
        watch = warm()
        watch.update(reading(70.0, 5.0))
        result = watch.update(reading(20.0, 4.0))
        assert (result.state, result.value, result.time_s) == (MET, 70.0, 5.0)


class TestSteady:
    def watch(self) -> ConditionWatch:
        return ConditionWatch(
            Condition(
                "settled", "idle settled", ConditionKind.STEADY, "engine-speed", high=25.0, unit="rpm", hold_s=4.0
            )
        )

    def test_not_known_until_the_window_is_full(self) -> None:
        watch = self.watch()
        result = feed(watch, {0.0: 750.0, 1.0: 751.0, 2.0: 749.0})
        assert (result.state, told(result)) == (NOT_KNOWN, "engine speed: watched for 2 s, needs 4 s")
        assert feed(watch, {3.0: 750.0, 4.0: 752.0}).state is MET

    def test_standard_deviation_by_hand(self) -> None:
        # 700, 800, 700, 800, 700: mean 740, squares 3 x 1600 + 2 x 3600 = 12000, over n-1 = 4: 3000, root 54.77
        result = feed(self.watch(), {0.0: 700.0, 1.0: 800.0, 2.0: 700.0, 3.0: 800.0, 4.0: 700.0})
        assert result.state is NOT_MET
        assert result.margin == pytest.approx(25.0 - 54.772256, abs=1e-6)
        assert told(result) == "engine speed moves by 55 rpm, needs at most 25 rpm over 4 s"

    def test_a_gap_empties_the_window(self) -> None:
        watch = self.watch()
        feed(watch, dict.fromkeys((0.0, 1.0, 2.0, 3.0, 4.0), 750.0))
        assert feed(watch, {9.0: 750.0}).state is NOT_KNOWN

    def test_a_long_run_does_not_lose_digits(self) -> None:
        watch = self.watch()
        result = feed(watch, {0.1 * i: 1e6 + (i % 2) for i in range(5000)})
        n = 41
        expected = (n * 0.25 / (n - 1)) ** 0.5
        assert 25.0 - (result.margin or 0.0) == pytest.approx(expected, rel=0.02)


class TestSlopeAndStep:
    def test_slope_a_minute_by_hand(self) -> None:
        watch = ConditionWatch(
            Condition("calm", "coolant calm", ConditionKind.SLOPE, "c", low=-1.0, high=1.0, unit="°C", hold_s=30.0)
        )
        result = watch.at(0.0)
        for i in range(31):
            result = watch.update(reading(80.0 + 0.05 * i, float(i), "c"))
        assert result.state is NOT_MET  # 0.05 °C a second are 3 °C a minute
        assert result.margin == pytest.approx(-2.0)
        assert told(result) == "c changes by 3 °C a minute, needs −1 to 1 °C a minute over 30 s"
        for i in range(31, 80):
            result = watch.update(reading(81.5, float(i), "c"))
        assert (result.state, result.margin) == (MET, pytest.approx(1.0))

    def test_a_step_is_seen_a_steady_load_is_not(self) -> None:
        watch = ConditionWatch(
            Condition("loads", "no load switched", ConditionKind.NO_STEP, "l", high=2.0, unit="%", hold_s=10.0)
        )
        result = watch.at(0.0)
        for i in range(60):
            result = watch.update(reading(30.0 + 0.2 * (i % 3), 0.5 * i, "l", "%"))
        assert result.state is MET
        for i in range(60, 68):
            result = watch.update(reading(38.0, 0.5 * i, "l", "%"))
        assert result.state is NOT_MET
        assert "l stepped by" in told(result)
        for i in range(68, 100):
            result = watch.update(reading(38.0, 0.5 * i, "l", "%"))
        assert result.state is MET  # it stays on: no step any more, which is why "off" is declared beside it


class TestOutlook:
    condition = Condition("warm", "coolant warm", ConditionKind.AT_LEAST, "c", low=80.0, unit="°C")

    def fed(self, condition: Condition, course, until_s: int) -> Outlook:
        outlook = Outlook(condition)
        for i in range(until_s):
            outlook.update(reading(round(course(i)), float(i), "c"))
        return outlook

    def test_says_when_it_will_be_warm(self) -> None:
        outlook = self.fed(self.condition, lambda t: 95 - 70 * math.exp(-t / 300), 150)
        true_s = 300 * math.log(70 / 15) - 149
        found = outlook.forecast()
        assert found is not None
        assert found.soonest_s < true_s < (found.latest_s or math.inf)
        message = outlook.message()
        assert message is not None
        assert message.text.startswith("in about ")

    def test_silent_when_reached_and_where_there_is_nothing_to_foretell(self) -> None:
        assert self.fed(self.condition, lambda t: 85, 150).message() is None
        assert self.fed(self.condition, lambda t: 20, 150).message() is None
        other = Condition("v", "supply", ConditionKind.AT_LEAST, "c", low=12.0, unit="V")
        assert self.fed(other, lambda t: t, 150).message() is None

    def test_bad_readings_are_not_used(self) -> None:
        outlook = Outlook(self.condition)
        outlook.update(absent(AbsenceKind.NOT_READ, 1.0))
        outlook.update(reading(20.0, 2.0, "c", quality=Quality.SUSPECT))
        outlook.update(reading(20.0, 3.0, "c", unit="V"))
        assert outlook.forecast() is None


class TestDeclared:
    condition = Condition("brake", "parking brake set", ConditionKind.DECLARED)

    def test_not_known_until_someone_says_so_and_never_measured(self) -> None:
        watch = ConditionWatch(self.condition)
        assert (watch.at(0.0).state, told(watch.at(0.0))) == (
            NOT_KNOWN,
            "parking brake set: no signal shows it; look, and declare it",
        )
        result = watch.declare("Ada Finch", 2.0)
        assert (result.state, result.evidence, watch.at(5.0).held_s) == (MET, Evidence.DECLARED, 3.0)

    def test_a_measured_condition_cannot_be_clicked_away(self) -> None:
        with pytest.raises(RunError) as caught:
            warm().declare("Ada Finch", 0.0)
        assert caught.value.code is Code.GATE_CLOSED


class TestSeen:
    def result(self, state: ConditionState = ConditionState.MET) -> ConditionResult:
        return ConditionResult("loads", state, 30.0, value=2.04, unit="%")

    def test_no_step_is_not_off(self) -> None:
        loads = Condition("loads", "loads off", ConditionKind.NO_STEP, "engine-load", high=4.0, unit="%", hold_s=20.0)
        assert seen(loads, self.result()).text == (
            "no change seen in 20 s; a steady load is not seen, nobody declared it off"
        )
        assert seen(loads, self.result(), "J. Doe").text == "no change seen in 20 s; off declared by J. Doe"
        assert seen(loads, self.result(ConditionState.NOT_KNOWN), "J. Doe") is None

    def test_others_say_what_was_measured_or_that_nothing_was(self) -> None:
        rest = Condition("rest", "pedal at rest", ConditionKind.AT_MOST, "pedal", high=3.0, unit="%")
        assert seen(rest, self.result()).text == "pedal at rest: 2.0 %"
        word = Condition("park", "selector in park", ConditionKind.DECLARED)
        assert seen(word, self.result()).text == "selector in park: declared, not measured"
