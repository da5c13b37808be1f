"""The throttle's lower-stop learn fails in eight realistic ways; each time the right cause is in its list."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from asleft.model.verdict import RunEnd, Verdict
from kit.bench_job import play
from kit.bench_run import LEARN, RunOutcome, RunScene, play_run

START = "31015A31"


def after_start(what: Callable[[RunScene], Any], seconds: float = 3.0) -> Any:
    """Something that happens this long after the consent to the start."""

    def hook(scene: RunScene, question: Any) -> None:
        if "Start now" in question.message.text:
            scene.clock.call_at(scene.clock.now() + seconds, lambda: what(scene))

    return {"hook": hook}


def before(what: Callable[[RunScene], Any]) -> Any:
    """Something that is so from the beginning."""
    return {"prepare": what}


def fault(name: str, size: float) -> Callable[[RunScene], None]:
    return lambda scene: scene.car.faults.put(name, size)


def pressed(scene: RunScene) -> None:
    scene.car.act("pedal", percent=40.0)


def key_off(scene: RunScene) -> None:
    scene.car.act("key", position="off")


WAYS = [
    (after_start(pressed), {RunEnd.STOPPED}, "foot on the pedal"),
    (before(fault("supply dips while learning", 11.4)), {RunEnd.REFUSED}, "supply sags under load"),
    (after_start(key_off), {RunEnd.FAILED, RunEnd.STOPPED}, "key turned off in the middle"),
    (before(fault("pedal held by the mat", 8.0)), {RunEnd.REFUSED}, "pedal held by the mat"),
    (before(fault("intake temperature offset", 40.0)), {RunEnd.REFUSED}, "engine or intake air too cold or too hot"),
    (before(fault("bad contact", 0.2)), {RunEnd.REFUSED}, "supply outside its limits"),
    (
        after_start(fault("engine starts itself", 1.0), 0.5),
        {RunEnd.STOPPED, RunEnd.REFUSED},
        "engine started by itself",
    ),
]


@pytest.mark.parametrize(
    ("how", "ends", "cause"),
    [WAYS[0], WAYS[2], *(pytest.param(*way, marks=pytest.mark.full) for n, way in enumerate(WAYS) if n not in (0, 2))],
)
def test_it_fails_and_the_cause_is_in_the_list(tmp_path: Path, how: Any, ends: set[RunEnd | None], cause: str) -> None:
    outcome: RunOutcome = play_run(tmp_path, LEARN, gate_timeout_s=15.0, **how)
    assert outcome.run.end in ends
    assert cause in outcome.causes
    assert outcome.effects_at_link().count(START) <= 1
    assert not outcome.state.unsettled


@pytest.mark.full
def test_a_proof_that_fails_names_what_its_criteria_point_to(tmp_path: Path) -> None:
    """The sensor's track is worn: it shows in what the slope leaves over, and only those entries are named."""

    def worn(scene: Any, question: Any) -> None:
        if "Start now" in question.message.text:
            scene.clock.call_at(scene.clock.now() + 12.0, lambda: scene.car.faults.put("plate sensor noisy", 3.0))

    run = play(tmp_path, hook=worn).state.runs["throttle-stop-learn-1"]
    assert run.verdict is Verdict.FAIL
    named = "; ".join(c for named in run.causes for c in named.causes)
    assert "worn sensor track" in named
    assert "supply sags" not in named
