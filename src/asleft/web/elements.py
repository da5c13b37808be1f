"""A living page of all elements of the page, drawn by the same templates and figures that draw a job; all invented."""

from __future__ import annotations

import math
from functools import cache

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import HTMLResponse, Response

from asleft.job.figures import condition_bars, live_strip, number_line, plan_track
from asleft.job.sequences import rehearsal_of
from asleft.job.settings import BOOK
from asleft.model.condition import Condition, ConditionKind, ConditionResult, ConditionState
from asleft.model.message import Message
from asleft.model.module import ModuleState
from asleft.model.reading import Evidence, Series
from asleft.model.verdict import Judgement, LimitOwner, Limits, Reason, Rule, Verdict
from asleft.model.work import Grade, Plan, PlanStep, ScreenClass

from .rendering import render_plain, safe

_SPAN_S = 20.0
_NOTHING = Message("x", "")
CONDITIONS = (
    Condition(
        "coolant",
        "coolant temperature",
        ConditionKind.WITHIN,
        "coolant-temperature",
        80.0,
        105.0,
        unit="°C",
        hold_s=5.0,
    ),
    Condition("still", "engine stands still", ConditionKind.AT_MOST, "engine-speed", high=0.0, unit="rpm", hold_s=5.0),
    Condition("ready", "automatic start switched off", ConditionKind.DECLARED),
    Condition("supply", "supply", ConditionKind.AT_LEAST, "control-module-voltage", 12.0, unit="V"),
)
RESULTS = (
    ConditionResult("coolant", ConditionState.NOT_MET, 10.0, 71.0, "°C", -9.0, 0.0),
    ConditionResult("still", ConditionState.MET, 10.0, 0.0, "rpm", 0.0, 5.0),
    ConditionResult("ready", ConditionState.MET, 10.0, evidence=Evidence.DECLARED),
    ConditionResult("supply", ConditionState.NOT_KNOWN, 10.0),
)
_LIMITS = Limits(1.0, 5.0, "%", LimitOwner.OURS)


def judgements() -> tuple[Judgement, ...]:
    """One of each verdict."""
    unsure = (Reason.GUARD_BAND,)
    return (
        Judgement("a", "well inside its limits", Verdict.PASS, _LIMITS, Rule.GUARDED, 3.1, 0.15, 0.001, 40, 12.0),
        Judgement("b", "beyond a limit", Verdict.FAIL, _LIMITS, Rule.GUARDED, 6.2, 0.2, 0.001, 40, 12.0),
        Judgement(
            "c", "too near a limit", Verdict.CANNOT_TELL, _LIMITS, Rule.GUARDED, 4.9, 0.2, 0.3, 9, 4.0, reasons=unsure
        ),
    )


def strip() -> str:
    """A live strip with its band."""
    times = tuple(0.2 * n for n in range(100))
    series = Series("coolant-temperature", "°C", times, tuple(76.0 + 6.0 * (1 - math.exp(-t / 9)) for t in times), 0.0)
    return live_strip(series, "coolant temperature", CONDITIONS, span_s=_SPAN_S)


def track() -> str:
    """A plan with something done, something to come and something without a procedure."""
    steps = (
        PlanStep("a", "lower stop learn", "key on, engine off", 2.0, 5.0, 7.0, _NOTHING, "a"),
        PlanStep("b", "idle relearn", "warm idle", 12.0, 5.0, 17.0, _NOTHING, "b"),
        PlanStep("c", "steering angle zero", "level floor", 6.0, 4.0, 10.0, _NOTHING),
    )
    return plan_track(Plan(steps, 34.0, 34.0, 46.0, True), frozenset({"a"}))


@cache
def elements_html() -> str:
    """The whole page; it depends on nothing but the program."""
    acts = rehearsal_of(BOOK / "idle-relearn-aldra.yaml").track.svg
    return render_plain(
        "elements.html",
        verdicts=tuple(Verdict),
        states=tuple(ModuleState),
        grades=tuple(Grade),
        screens=tuple(ScreenClass),
        lines=[(j.name, safe(number_line(j))) for j in judgements()],
        bars=safe(condition_bars(CONDITIONS, RESULTS)),
        strip=safe(strip()),
        track=safe(track()),
        acts=safe(acts),
        progress=("Step 3 of 7, about 4 min left when it began, by the procedure's own times", 38),
    )


class Elements:
    """Handler of the page."""

    async def show(self, _request: Request) -> Response:
        """All elements."""
        return HTMLResponse(await run_in_threadpool(elements_html))
