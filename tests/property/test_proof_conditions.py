"""What holds for every condition and every stream of readings."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from asleft.model.condition import Condition, ConditionKind, ConditionState
from asleft.model.origin import Origin
from asleft.model.reading import Absence, AbsenceKind, Quality, Reading
from asleft.proof.conditions import ConditionWatch

KINDS = tuple(k for k in ConditionKind if k is not ConditionKind.DECLARED)
OVER_TIME = {ConditionKind.STEADY, ConditionKind.SLOPE, ConditionKind.NO_STEP}


@st.composite
def conditions(draw: st.DrawFn) -> Condition:
    low = draw(st.floats(-50, 50))
    high = low + draw(st.floats(0, 50))
    loose = draw(st.floats(0, 20))
    return Condition(
        "c",
        "some condition",
        draw(st.sampled_from(KINDS)),
        "s",
        low=low,
        high=high,
        leave_low=low - loose,
        leave_high=high + loose,
        hold_s=draw(st.sampled_from([0.0, 1.0, 3.0])),
        debounce_s=draw(st.sampled_from([0.0, 1.0])),
        max_age_s=draw(st.sampled_from([0.5, 2.0])),
    )


@st.composite
def readings(draw: st.DrawFn) -> Reading:
    time_s = draw(st.floats(0, 30))
    kind = draw(st.sampled_from(["good", "good", "good", "doubted", "absent"]))
    if kind == "absent":
        absence = Absence(draw(st.sampled_from(list(AbsenceKind))))
        return Reading("s", None, "1", 0.0, time_s, Origin.BENCH, absence=absence)
    quality = draw(st.sampled_from(list(Quality))) if kind == "doubted" else Quality.GOOD
    return Reading("s", draw(st.floats(-100, 100)), "1", 0.0, time_s, Origin.BENCH, quality=quality)


streams = st.lists(readings(), max_size=40).map(lambda rs: sorted(rs, key=lambda r: r.time_s))


@given(conditions(), streams, st.floats(0, 40))
def test_every_state_has_its_reason_and_met_has_none(condition: Condition, stream: list[Reading], now_s: float) -> None:
    watch = ConditionWatch(condition)
    for result in [*(watch.update(r) for r in stream), watch.at(now_s)]:
        assert (result.reason is None) == (result.state is ConditionState.MET)
        assert result.state is not ConditionState.NOT_KNOWN or result.margin is None


@given(conditions(), streams)
def test_met_means_within_the_loose_limits_unless_debounced(condition: Condition, stream: list[Reading]) -> None:
    watch = ConditionWatch(condition)
    for result in (watch.update(r) for r in stream):
        if result.state is ConditionState.MET and condition.debounce_s == 0.0:
            assert result.margin is not None
            assert result.margin >= 0.0


@given(conditions(), streams)
def test_met_means_held_for_as_long_as_asked(condition: Condition, stream: list[Reading]) -> None:
    watch = ConditionWatch(condition)
    for result in (watch.update(r) for r in stream):
        if result.state is ConditionState.MET and condition.kind not in OVER_TIME:
            assert result.held_s >= condition.hold_s


@given(conditions(), streams)
def test_asking_changes_nothing(condition: Condition, stream: list[Reading]) -> None:
    asked, quiet = ConditionWatch(condition), ConditionWatch(condition)
    for reading in stream:
        asked.at(reading.time_s + 0.25)
        assert asked.update(reading) == quiet.update(reading)


@given(conditions(), streams)
def test_old_news_is_never_met(condition: Condition, stream: list[Reading]) -> None:
    watch = ConditionWatch(condition)
    for reading in stream:
        watch.update(reading)
    last_s = max((r.time_s for r in stream), default=0.0)
    assert watch.at(last_s + condition.max_age_s + 0.1).state is ConditionState.NOT_KNOWN


@given(conditions(), streams, st.floats(0.1, 20))
def test_a_wider_band_never_loses_what_a_narrow_one_holds(
    condition: Condition, stream: list[Reading], wider: float
) -> None:
    from msgspec.structs import replace

    assert condition.low is not None
    assert condition.high is not None
    assert condition.leave_low is not None
    assert condition.leave_high is not None
    wide = replace(
        condition,
        low=condition.low - wider,
        high=condition.high + wider,
        leave_low=condition.leave_low - wider,
        leave_high=condition.leave_high + wider,
    )
    narrow_watch, wide_watch = ConditionWatch(condition), ConditionWatch(wide)
    for reading in stream:
        narrow = narrow_watch.update(reading)
        if wide_watch.update(reading).state is not ConditionState.MET:
            assert narrow.state is not ConditionState.MET
