"""Figures: well formed, told in words, legible, the same every time, and true to the numbers."""

from __future__ import annotations

import math
import re
from xml.etree import ElementTree

import pytest

from asleft.figure import (
    STYLESHEET,
    Band,
    Look,
    Shade,
    Size,
    StepMark,
    condition_bars,
    number_line,
    plan_track,
    strip,
)
from asleft.figure.axis import Scale, scale, ticks
from asleft.figure.lettering import cut_short, width_of, wrapped
from asleft.figure.look import COLOURS, PRINT
from asleft.model.condition import Condition, ConditionKind, ConditionResult, ConditionState
from asleft.model.message import say
from asleft.model.reading import Evidence, Series
from asleft.model.verdict import Judgement, LimitOwner, Limits, Reason, Rule, Verdict
from asleft.model.work import Plan, PlanStep

SVG = "{http://www.w3.org/2000/svg}"


def judged(value: float | None = 0.4, u: float | None = 0.16, verdict: Verdict = Verdict.PASS, **more) -> Judgement:
    limits = more.pop("limits", Limits(None, 1.2, "%", LimitOwner.OURS))
    reasons = (Reason.GUARD_BAND,) if verdict is Verdict.CANNOT_TELL else ()
    return Judgement(
        "rest",
        more.pop("name", "Range of the rest reading"),
        verdict,
        limits,
        more.pop("rule", Rule.GUARDED),
        value,
        u,
        reasons=reasons,
        sentence=say("x", "The reading <stays> within & below."),
        **more,
    )


def speed(n: int = 200, **more) -> Series:
    times = more.pop("times_s", tuple(0.5 * i for i in range(n)))
    values = more.pop("values", tuple(750.0 + 20 * math.sin(i / 9) for i in range(n)))
    return Series("engine-speed", "rpm", times, values, 0.25, **more)


CONDITIONS = (
    Condition("warm", "coolant warm", ConditionKind.AT_LEAST, "c", low=65.0, unit="°C", hold_s=10.0),
    Condition("still", "idle settled", ConditionKind.STEADY, "r", high=25.0, unit="rpm", hold_s=4.0),
    Condition("supply", "supply", ConditionKind.WITHIN, "v", low=12.4, high=14.5, unit="V"),
    Condition("brake", "parking brake set", ConditionKind.DECLARED),
)
RESULTS = (
    ConditionResult("warm", ConditionState.NOT_MET, 1.0, 70.0, "°C", 5.0, 4.0, reason=say("x", "coolant 70 °C: held")),
    ConditionResult("still", ConditionState.MET, 1.0, 751.0, "rpm", 21.0, 6.0),
    ConditionResult("brake", ConditionState.MET, 1.0, evidence=Evidence.DECLARED),
)


def step(function: str, state: str, move: float, work: float, elapsed: float) -> PlanStep:
    return PlanStep(function, function.capitalize(), state, move, work, elapsed, say("x", "because"), "p")


PLAN = Plan(
    (
        step("as-found", "engine off, cold", 0, 5, 5),
        step("idle-relearn", "engine running, warm", 3, 10, 23),
        step("as-left", "engine off, warm", 1, 5, 6),
    ),
    24,
    34,
    30,
    True,
)

EVERY = {
    "number line": lambda look: number_line(judged(), look=look),
    "no value": lambda look: number_line(judged(None, None, Verdict.CANNOT_TELL), look=look),
    "reported": lambda look: number_line(
        judged(
            11.0, 0.3, Verdict.CANNOT_TELL, limits=Limits(None, None, "mm²", LimitOwner.OURS), rule=Rule.REPORT_ONLY
        ),
        look=look,
    ),
    "far away": lambda look: number_line(judged(1e9, 1.0, Verdict.FAIL), look=look),
    "strip": lambda look: strip(
        speed(), band=Band(700, 800), marks=[StepMark(3, "began")], shades=[Shade(10, 40)], look=look
    ),
    "empty strip": lambda look: strip(speed(0), band=Band(700, None), look=look),
    "one reading": lambda look: strip(speed(1), look=look),
    "conditions": lambda look: condition_bars(CONDITIONS, RESULTS, look=look),
    "no conditions": lambda look: condition_bars((), (), look=look),
    "plan": lambda look: plan_track(PLAN, look=look),
    "no plan": lambda look: plan_track(Plan((), 0, 0, None, True), look=look),
    "long plan": lambda look: plan_track(Plan(PLAN.steps * 8, 100, 200, None, True), look=look),
}


def texts(svg: str) -> str:
    return " | ".join(t.text or "" for t in ElementTree.fromstring(svg).iter(SVG + "text"))


@pytest.mark.parametrize("look", Look)
@pytest.mark.parametrize("name", EVERY)
class TestEvery:
    def test_is_well_formed_and_says_what_it_shows(self, name: str, look: Look) -> None:
        root = ElementTree.fromstring(EVERY[name](look))
        title, told = root.find(SVG + "title"), root.find(SVG + "desc")
        assert title is not None
        assert title.text
        assert told is not None
        assert told.text
        assert root.get("role") == "img"
        assert root.get("aria-labelledby") == f"{title.get('id')} {told.get('id')}"

    def test_is_the_same_every_time(self, name: str, look: Look) -> None:
        assert EVERY[name](look) == EVERY[name](look)

    def test_stays_inside(self, name: str, look: Look) -> None:
        root = ElementTree.fromstring(EVERY[name](look))
        _, _, width, height = map(float, str(root.get("viewBox")).split())
        for text in root.iter(SVG + "text"):
            letters = float(str(text.get("font-size")))
            wide = width_of(text.text or "", letters) * 0.86  # the estimate is on the large side
            x = (
                float(str(text.get("x")))
                - {"start": 0.0, "middle": wide / 2, "end": wide}[str(text.get("text-anchor"))]
            )
            assert x >= -1.0, text.text
            assert x + wide <= width + 1.0, text.text
            assert letters <= float(str(text.get("y"))) + 4 <= height + 4, text.text

    def test_letters_are_large_enough_for_a_tablet(self, name: str, look: Look) -> None:
        sizes = [float(str(t.get("font-size"))) for t in ElementTree.fromstring(EVERY[name](look)).iter(SVG + "text")]
        assert min(sizes, default=20.0) >= 13.0


@pytest.mark.parametrize("name", EVERY)
def test_print_has_plain_colours_and_basic_shapes_only(name: str) -> None:
    svg = EVERY[name](Look.PRINT)
    assert not re.search(r"class=|<style|var\(|foreignObject|<image|<use", svg)
    known = {"svg", "title", "desc", "rect", "line", "path", "circle", "text"}
    assert {e.tag.removeprefix(SVG) for e in ElementTree.fromstring(svg).iter()} <= known


@pytest.mark.parametrize("name", EVERY)
def test_a_page_needs_no_inline_style(name: str) -> None:
    assert "style=" not in EVERY[name](Look.PAGE)
    assert "<style" not in EVERY[name](Look.PAGE)
    assert "<style>" in EVERY[name](Look.ALONE)


def contrast(a: str, b: str) -> float:
    """Contrast ratio. Source: WCAG 2.2, definitions of contrast ratio and relative luminance (recalled)."""

    def luminance(colour: str) -> float:
        parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
        r, g, b = (p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts)
        return 0.2126 * r + 0.7152 * g + 0.0722 * b

    light, dark = sorted((luminance(a), luminance(b)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


@pytest.mark.parametrize("scheme", [0, 1])
def test_contrast_of_text_and_lines(scheme: int) -> None:
    at = {role: pair[scheme] for role, pair in COLOURS.items()}
    for role in ("ink", "soft", "edge", "trace", "mark", "pass", "fail", "tell"):
        assert contrast(at[role], at["card"]) >= 4.5, role
    for role in ("trace", "edge"):
        for ground in ("band", "shade", "gap"):
            assert contrast(at[role], at[ground]) >= 4.5, (role, ground)
    assert contrast(at["soft"], at["gap"]) >= 4.5
    for role in ("axis", "guard"):
        assert contrast(at[role], at["card"]) >= 3.0, role


def test_contrast_in_print() -> None:
    for role in ("ink", "soft", "edge", "trace", "mark", "pass", "fail", "tell"):
        assert contrast(PRINT[role], PRINT["card"]) >= 4.5, role


def test_contrast_itself() -> None:
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)


def test_the_style_sheet_names_every_role_in_both_schemes() -> None:
    for role, (light, dark) in COLOURS.items():
        assert f".f-{role}{{fill:{light}}}" in STYLESHEET
        assert f".f-{role}{{fill:{dark}}}" in STYLESHEET


class TestNumberLine:
    @pytest.mark.parametrize("verdict", Verdict)
    def test_word_and_shape_for_each_verdict(self, verdict: Verdict) -> None:
        svg = number_line(judged(verdict=verdict))
        assert verdict.value.replace("_", " ") in texts(svg)
        assert 'class="f-' + {"PASS": "pass", "FAIL": "fail", "CANNOT_TELL": "tell"}[verdict.value] in svg

    def test_shows_value_limit_and_sentence(self) -> None:
        shown = texts(number_line(judged()))
        for part in ("0.4 ± 0.3 %", "1.2 %", "The reading <stays> within & below."):
            assert part in shown

    @pytest.mark.parametrize(("value", "left_of_limit"), [(0.4, True), (1.19, True), (1.21, False), (3.0, False)])
    def test_the_value_stands_on_its_side_of_the_limit(self, value: float, left_of_limit: bool) -> None:
        svg = number_line(judged(value, 0.1))
        diamond = re.findall(r'<path d="M([\d.]+) [\d.]+ [\d.]+ [\d.]+ [\d.]+ [\d.]+ [\d.]+ [\d.]+Z"', svg)[-1]
        limit = re.search(r'<line x1="([\d.]+)"[^>]* stroke="#1d5c33" stroke-width="3"', svg)
        assert limit is not None
        assert (float(diamond) < float(limit[1])) is left_of_limit

    def test_printed_limits_have_no_guard_band(self) -> None:
        printed = judged(limits=Limits(None, 1.2, "%", LimitOwner.PRINTED), rule=Rule.SIMPLE)
        assert "s-guard" not in number_line(printed)
        assert "s-guard" in number_line(judged())


class TestStrip:
    def test_gaps_are_seen_and_not_bridged(self) -> None:
        times = (*(0.5 * i for i in range(50)), *(60.0 + 0.5 * i for i in range(50)))
        svg = strip(speed(100, times_s=times))
        assert "no reading" in texts(svg)
        assert svg.count('fill="none" stroke-linejoin') == 2
        assert "1 gaps" in svg

    def test_what_is_no_number_is_a_gap(self) -> None:
        values = tuple(750.0 if not 20 <= i < 60 else math.nan for i in range(100))
        assert "no reading" in texts(strip(speed(100, values=values)))

    def test_backwards_times_do_not_draw_a_line_back(self) -> None:
        svg = strip(speed(4, times_s=(0.0, 1.0, 0.5, 1.5), values=(1.0, 2.0, 3.0, 4.0)))
        assert svg.count('fill="none" stroke-linejoin') == 2

    def test_thousands_of_readings_stay_small_and_keep_their_extremes(self) -> None:
        values = [750.0] * 50_000
        values[31_234] = 999.0
        svg = strip(speed(50_000, times_s=tuple(0.1 * i for i in range(50_000)), values=tuple(values)))
        assert len(svg) < 60_000
        path = re.search(r'<path d="M([^"]*)" fill="none" stroke-linejoin', svg)
        assert path is not None
        ys = [float(y) for y in path[1].split()[1::2]]
        assert min(ys) < max(ys) - 100

    def test_marks_windows_and_band_are_named(self) -> None:
        shown = texts(
            strip(speed(), band=Band(700, 800), marks=[StepMark(3, "began")], shades=[Shade(10, 80, "idle judged")])
        )
        for part in ("began", "idle judged", "allowed 700 to 800 rpm", "700", "Engine speed"):
            assert part in shown

    def test_strips_can_share_one_time(self) -> None:
        a, b = strip(speed(), span_s=(0, 300)), strip(speed(20), span_s=(0, 300))
        assert re.findall(r'y="[\d.]+" font-size="17" text-anchor="middle"[^>]*>([^<]*)', a) == re.findall(
            r'y="[\d.]+" font-size="17" text-anchor="middle"[^>]*>([^<]*)', b
        )

    def test_size_is_a_parameter(self) -> None:
        assert 'viewBox="0 0 480 ' in strip(speed(), size=Size(480, 14))


class TestConditionBars:
    def test_each_row_says_its_state(self) -> None:
        shown = texts(condition_bars(CONDITIONS, RESULTS))
        for part in ("Coolant warm", "held 4 of 10 s", "met, moves by 4 rpm", "not known", "declared"):
            assert part in shown

    def test_the_title_counts(self) -> None:
        title = ElementTree.fromstring(condition_bars(CONDITIONS, RESULTS)).find(SVG + "title")
        assert title is not None
        assert title.text == "2 of 4 conditions met"


class TestPlanTrack:
    def test_minutes_and_names(self) -> None:
        shown = texts(plan_track(PLAN))
        for part in (
            "24 min of work, 34 min in all",
            "6 min less than in the order given",
            "Idle-relearn",
            "13 min to get there, 10 min",
        ):
            assert part in shown

    def test_done_is_said_in_words_too(self) -> None:
        assert "5 min, done" in texts(plan_track(PLAN, done=frozenset({"as-found"})))


class TestParts:
    @pytest.mark.parametrize(
        ("low", "high", "expected"), [(0, 10, [0, 2, 4, 6, 8, 10]), (0.3, 1.1, [0.4, 0.6, 0.8, 1.0])]
    )
    def test_ticks_are_round(self, low: float, high: float, expected: list[float]) -> None:
        assert ticks(low, high, 5) == expected

    def test_ticks_of_nothing(self) -> None:
        assert ticks(1.0, 1.0, 5) == []
        assert ticks(0.0, math.inf, 5) == []

    def test_scale_has_room_for_a_single_value(self) -> None:
        s = scale([5.0, math.nan], 0.0, 100.0)
        assert s.low < 5.0 < s.high
        assert s.at(5.0) == pytest.approx(50.0)

    def test_scale_keeps_what_is_outside_at_its_end(self) -> None:
        s = Scale(0.0, 1.0, 10.0, 20.0)
        assert (s.at(-5.0), s.at(5.0), s.holds(5.0)) == (10.0, 20.0, False)

    def test_wrapping_keeps_every_word(self) -> None:
        text = "one two three four five six seven eight nine ten"
        lines = wrapped(text, 100.0, 16.0)
        assert " ".join(lines) == text
        assert all(width_of(line, 16.0) <= 100.0 for line in lines)
        assert wrapped("", 100.0, 16.0) == []

    def test_cutting_short(self) -> None:
        assert cut_short("short", 200.0, 16.0) == "short"
        assert cut_short("a long text that does not fit", 80.0, 16.0).endswith("…")
