"""Runs under faults: a crash at every boundary of an effect, and seeded trouble from bus, module, supply, person, disk.

What must hold, always: nothing that changes the car goes out without its own intent, nor twice for one; nothing that
was acknowledged is lost; every run ends in a defined state; every effect is settled, or stands as a question; no
session is left open where the link answers.
"""

from __future__ import annotations

import os
import random
import shutil
from collections import Counter
from pathlib import Path
from typing import Any

import pytest

from asleft.bench.bus_faults import Faults
from asleft.event.body import Body
from asleft.event.envelope import Event, type_of
from asleft.job.clock import LoopClock, run_virtual
from asleft.model.effect import Settlement
from asleft.model.errors import AsleftError, Code, RecordError
from asleft.model.question import Question, QuestionKind
from asleft.model.verdict import Verdict
from asleft.record.job_journal import JobJournal
from kit.bench_job import HookedPerson
from kit.bench_run import IDLE, LEARN, RunOutcome, RunScene, carry_out
from kit.soaked import once
from kit.variant import Keys, variant

PROCEDURES = {IDLE: "31015A32", LEARN: "31015A31", "planned-clear": "14FFFFFF"}


class Crash(BaseException):
    """The power is gone."""


VARIANT = "variant"
#: Procedure -> share of the long run: what costs a tenth of a second is played often, what costs ten now and then.
SOAK_MIX = {"planned-clear": 0.42, VARIANT: 0.42, LEARN: 0.14, IDLE: 0.02}


async def ready(scene: RunScene, procedure: str) -> None:
    await (scene.warm_idle() if procedure == IDLE else scene.key_on())


def holds(outcome: RunOutcome) -> None:
    """The rules that no fault may break."""
    intents = Counter(outcome.intents)
    sent = Counter(outcome.effects_at_link())
    for payload, times in sent.items():
        assert times <= intents[payload], f"{payload} went out {times} times for {intents[payload]} intents"
    assert not outcome.state.unsettled
    assert all(run.end is not None or run.progress == "judged" for run in outcome.state.runs.values() if run.progress)


#: Where the program dies: before and after each of these, for each procedure here; "send" is between intent and answer.
BOUNDARIES = ("intent-written@1", "send", "effect-answered@1", "effect-settled@1")


@pytest.mark.parametrize("boundary", BOUNDARIES)
@pytest.mark.parametrize("after", [False, True])
@pytest.mark.parametrize("procedure", PROCEDURES)
def test_a_crash_at_every_boundary_of_an_effect(tmp_path: Path, procedure: str, boundary: str, after: bool) -> None:
    outcome, acknowledged = run_virtual(lambda clock: crash_and_recover(clock, tmp_path, procedure, boundary, after))
    assert outcome.events[: len(acknowledged)] == tuple(acknowledged), "nothing acknowledged is lost"
    assert outcome.effects_at_link().count(PROCEDURES[procedure]) <= 1, "nothing is sent again by itself"
    intents = Counter(outcome.intents)
    for payload, times in Counter(outcome.effects_at_link()).items():
        assert times <= intents[payload]
    assert not outcome.state.unsettled
    settled = {e.settlement for e in outcome.state.effects.values()}
    assert settled <= {Settlement.DONE, Settlement.NOT_DONE, Settlement.PERSON_MUST_DECIDE}
    assert set(outcome.sessions.values()) <= {1}


async def crash_and_recover(
    clock: LoopClock, folder: Path, procedure: str, boundary: str, after: bool
) -> tuple[RunOutcome, list[Event]]:
    scene = RunScene(clock, folder)
    await ready(scene, procedure)
    acknowledged: list[Event] = []
    dead = False
    original, send = JobJournal.append, scene.link.send

    def die() -> None:
        nonlocal dead
        dead = True
        raise Crash

    def append(self: JobJournal, body: Body, *, actor: str = "") -> Event:
        if dead:
            raise Crash
        hit = type_of(body) == boundary
        if hit and not after:
            die()
        event = original(self, body, actor=actor)
        acknowledged.append(event)
        if hit:
            die()
        return event

    def sending(frame: Any) -> None:
        if dead:
            return
        hit = boundary == "send" and frame.data[1:5].hex().upper() == PROCEDURES[procedure]
        if hit and not after:
            die()
        send(frame)
        if hit:
            die()

    JobJournal.append = append
    scene.link.send = sending  # type: ignore[method-assign]
    try:
        with pytest.raises(Crash):
            await carry_out(scene, HookedPerson(scene.person(), lambda _q: None), procedure)
    finally:
        JobJournal.append = original
        scene.link.send = send  # type: ignore[method-assign]
    outcome = await carry_out(scene, scene.person(), procedure, recover=True, run=False)
    scene.car.detach()
    return outcome, acknowledged


# -- seeded trouble --------------------------------------------------------------------------------------------------


def trouble(scene: RunScene, chance: random.Random) -> None:
    """Some faults of bus, module, supply and person, at moments of their own."""
    later = scene.clock.call_at
    now = scene.clock.now()
    for _ in range(chance.randint(1, 3)):
        at = now + chance.uniform(0.0, 60.0)
        match chance.choice(["bus", "deaf", "busy", "supply", "sleep", "pedal", "key"]):
            case "bus":
                lost = chance.uniform(0.01, 0.4)
                later(at, lambda lost=lost: setattr(scene.bus, "faults", Faults(lost=lost)))
                later(at + chance.uniform(0.5, 8.0), lambda: setattr(scene.bus, "faults", Faults()))
            case "deaf":
                later(at, lambda: setattr(scene.bus, "faults", Faults(lost=1.0)))
                later(at + chance.uniform(0.2, 4.0), lambda: setattr(scene.bus, "faults", Faults()))
            case "busy":
                later(at, lambda: scene.car.faults.put("engine module busy", 1.0))
                later(at + chance.uniform(0.5, 5.0), lambda: scene.car.faults.mend("engine module busy"))
            case "supply":
                later(at, lambda: scene.car.faults.put("bad contact", 0.1))
            case "sleep":
                later(at, lambda: scene.car.faults.put("modules fall asleep", 1.0))
            case "pedal":
                later(at, lambda: scene.car.act("pedal", percent=40.0))
                later(at + 2.0, lambda: scene.car.act("pedal", percent=0.0))
            case _:
                later(at, lambda: scene.car.act("key", position="off"))
                later(at + 3.0, lambda: scene.car.act("key", position="on"))


async def seeded(clock: LoopClock, folder: Path, seed: int, mix: dict[str, float]) -> RunOutcome:
    chance = random.Random(seed)
    scene = RunScene(clock, folder, seed=chance.randint(1, 5))
    scene.key = Keys()
    name = chance.choices(list(mix), list(mix.values()))[0]
    procedure = variant() if name == VARIANT else name
    await ready(scene, name)
    trouble(scene, chance)
    stop_at = clock.now() + chance.uniform(0.0, 40.0) if chance.random() < 0.3 else None
    full_after = chance.randint(20, 60) if chance.random() < 0.2 else None
    inner = scene.person()
    if stop_at is not None:
        clock.call_at(stop_at, inner.stop)
    original, count = JobJournal.append, 0

    def append(self: JobJournal, body: Body, *, actor: str = "") -> Event:
        nonlocal count
        count += 1
        if full_after is not None and count > full_after:
            raise RecordError(Code.JOURNAL_UNWRITABLE, "no space left on the disk")
        return original(self, body, actor=actor)

    JobJournal.append = append
    try:
        await carry_out(scene, HookedPerson(inner, lambda _q: None), procedure, gate_timeout_s=30.0)
    except RecordError:
        pass
    finally:
        JobJournal.append = original
    scene.bus.faults = Faults()
    scene.car.faults.mend("engine module busy")
    await clock.sleep_until(clock.now() + 6.0)
    outcome = await carry_out(scene, scene.person(), procedure, recover=True, run=False)
    scene.car.detach()
    return outcome


#: In make test-full each as often as the others; in make test the long idle relearn is rare.
EVENLY = dict.fromkeys((*PROCEDURES, VARIANT), 1.0)
BRIEFLY = {**EVENLY, IDLE: 0.1}


def check_seed(folder: Path, seed: int, mix: dict[str, float] = EVENLY) -> None:
    outcome = run_virtual(lambda clock: seeded(clock, folder, seed, mix))
    intents = Counter(outcome.intents)
    for payload, times in Counter(outcome.effects_at_link()).items():
        assert times <= intents[payload], f"seed {seed}: {payload} {times} times for {intents[payload]} intents"
    assert not outcome.state.unsettled
    run = outcome.run if outcome.state.runs else None
    if run is not None and run.end is not None:
        assert run.verdict is not Verdict.PASS, "a run that was cut short proves nothing"
    assert set(outcome.sessions.values()) <= {1}, "no session is left open"


@pytest.mark.parametrize("seed", range(30))
def test_seeded_trouble(tmp_path: Path, seed: int) -> None:
    check_seed(tmp_path, seed, BRIEFLY)


@pytest.mark.full
@pytest.mark.parametrize("seed", range(1000, 1200))
def test_seeded_trouble_more(tmp_path: Path, seed: int) -> None:
    check_seed(tmp_path, seed)


#: The long run in parts, so that it can be broken off and gone on with.
PARTS, RUNS = 100, int(os.environ.get("ASLEFT_SOAK_RUNS", "10000"))


@pytest.mark.soak
@pytest.mark.timeout(3000)
@pytest.mark.parametrize("part", range(PARTS))
def test_seeded_trouble_soak(tmp_path: Path, part: int) -> None:
    """10,000 seeds, or as many as ``ASLEFT_SOAK_RUNS`` says, in a hundred parts."""

    def work() -> dict[str, int]:
        seeds = range(10_000 + part, 10_000 + RUNS, PARTS)
        for seed in seeds:
            check_seed(tmp_path / str(seed), seed, SOAK_MIX)
            shutil.rmtree(tmp_path / str(seed), ignore_errors=True)
        return {"runs": len(seeds)}

    once(f"run-faults-{RUNS}-{part:02d}", work)


# -- the first byte of a stop ----------------------------------------------------------------------------------------


def test_the_stop_leaves_within_one_turn_of_the_sample_that_broke_the_interlock(tmp_path: Path) -> None:
    """Between the answer that showed the pedal and the first byte of the stop nothing else of ours goes out."""

    async def main(clock: LoopClock) -> RunOutcome:
        scene = RunScene(clock, tmp_path)
        await scene.key_on()

        def press(question: Question) -> None:
            if question.kind is QuestionKind.EFFECT:
                clock.call_at(clock.now() + 4.0, lambda: scene.car.act("pedal", percent=40.0))

        try:
            return await carry_out(scene, HookedPerson(scene.person(), press), LEARN)
        finally:
            scene.car.detach()

    outcome = run_virtual(main)
    frames = outcome.frames
    stop = next(n for n, f in enumerate(frames) if f.data[1:5].hex().upper() == "31025A31")
    pedal = max(n for n in range(stop) if f"{frames[n].data[1]:02X}" == "01")
    asked = [f for f in frames[pedal + 1 : stop] if f.data[0] >> 4 != 3]  # a flow control still takes the answer in
    between = [f for f in asked if f.data[1:3] != b"\x3e\x80"]
    assert not between, "nothing is asked between the sample and the stop"
    assert frames[stop].time_s - frames[pedal].time_s < 0.25, "one question and its answer"


def test_no_effect_goes_to_a_real_car_unless_the_settings_open_it(tmp_path: Path) -> None:
    """The gate of the settings is closed by default: nothing leaves, and the intent says so."""
    from asleft.model.origin import Origin
    from asleft.talk.policy import WritesPolicy

    closed = WritesPolicy()
    with pytest.raises(AsleftError, match="switched off in the settings"):
        closed.check(Origin.VEHICLE)
    WritesPolicy(vehicle_open=True).check(Origin.VEHICLE)
    with pytest.raises(AsleftError):
        WritesPolicy(vehicle_open=True).check(Origin.REPLAY)
