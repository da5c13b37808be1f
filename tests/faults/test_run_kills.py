"""Real kills: a process with a real journal on a real disk, dead by SIGKILL in the middle of a run; another goes on.

The child tells through a pipe what was acknowledged and what left at the link, before it goes on; then it is killed
(by itself, at a step drawn from the seed: nothing in it can notice or tidy up). What must hold: nothing acknowledged is
lost, nothing is sent twice, and no intent stays open without having been settled or put to a person.
"""

from __future__ import annotations

import os
import random
import signal
from collections import Counter
from pathlib import Path
from typing import Any

import pytest

from asleft.event.body import Body, IntentWritten
from asleft.event.envelope import Event
from asleft.job.clock import LoopClock, run_virtual
from asleft.model.effect import Settlement
from asleft.record.job_journal import JobJournal
from kit.bench_run import IDLE, LEARN, RunOutcome, RunScene, carry_out
from kit.soaked import once

#: Procedure -> roughly how many things (events and effects at the link) one run of it does.
LENGTH = {IDLE: 44, LEARN: 66, "planned-clear": 40}


def in_child(folder: Path, procedure: str, at: int, pipe: int) -> None:
    """Run until the ``at``-th thing that happens; then SIGKILL."""
    original, happened = JobJournal.append, 0

    def count(line: str) -> None:
        nonlocal happened
        os.write(pipe, f"{line}\n".encode())
        happened += 1
        if happened >= at:
            os.kill(os.getpid(), signal.SIGKILL)

    def append(self: JobJournal, body: Body, *, actor: str = "") -> Event:
        event = original(self, body, actor=actor)
        count(f"event {event.sequence}")
        return event

    async def main(clock: LoopClock) -> None:
        scene = RunScene(clock, folder)
        send = scene.link.send

        def sending(frame: Any) -> None:
            send(frame)
            payload = frame.data[1 : 1 + frame.data[0]].hex().upper() if frame.data[0] <= 7 else ""
            if payload.startswith(("3101", "3102", "14")):
                count(f"sent {payload}")

        scene.link.send = sending  # type: ignore[method-assign]
        await (scene.warm_idle() if procedure == IDLE else scene.key_on())
        JobJournal.append = append
        await carry_out(scene, scene.person(), procedure)

    run_virtual(main)


def killed(folder: Path, procedure: str, at: int) -> tuple[list[str], bool]:
    """What the child told, and whether it was killed (else it came to its end before)."""
    reading, writing = os.pipe()
    child = os.fork()
    if child == 0:
        os.close(reading)
        try:
            in_child(folder, procedure, at, writing)
        finally:
            os._exit(0)
    os.close(writing)
    with os.fdopen(reading) as told:
        lines = told.read().splitlines()
    _, status = os.waitpid(child, 0)
    return lines, os.WIFSIGNALED(status)


async def recovered(clock: LoopClock, folder: Path, procedure: str) -> RunOutcome:
    scene = RunScene(clock, folder)
    await scene.key_on()
    outcome = await carry_out(scene, scene.person(), procedure, recover=True, run=False)
    scene.car.detach()
    return outcome


def check_kill(folder: Path, seed: int) -> None:
    chance = random.Random(seed)
    procedure = chance.choice(list(LENGTH))
    lines, dead = killed(folder, procedure, chance.randint(1, LENGTH[procedure]))
    assert dead
    told = [int(line.split()[1]) for line in lines if line.startswith("event")]
    sent = Counter(line.split()[1] for line in lines if line.startswith("sent"))
    outcome = run_virtual(lambda clock: recovered(clock, folder, procedure))
    kept = [e.sequence for e in outcome.events]
    assert kept == list(range(1, len(kept) + 1))
    assert set(told) <= set(kept), "what was acknowledged is on the disk"
    intents = Counter(e.body.intent.payload for e in outcome.events if isinstance(e.body, IntentWritten))
    for payload, times in sent.items():
        assert times <= intents[payload], "an intent stands before every effect, and each goes out once"
    assert not outcome.effects_at_link(), "nothing is sent again by itself"
    assert not outcome.state.unsettled
    for effect in outcome.state.effects.values():
        if effect.settlement is Settlement.PERSON_MUST_DECIDE:
            assert effect.message is not None
            assert effect.message.text


@pytest.mark.skipif(not hasattr(os, "fork"), reason="needs fork")
@pytest.mark.parametrize("seed", range(20))
def test_a_killed_run(tmp_path: Path, seed: int) -> None:
    check_kill(tmp_path, seed)


PARTS, KILLS = 20, int(os.environ.get("ASLEFT_SOAK_KILLS", "500"))


@pytest.mark.soak
@pytest.mark.timeout(3000)
@pytest.mark.skipif(not hasattr(os, "fork"), reason="needs fork")
@pytest.mark.parametrize("part", range(PARTS))
def test_killed_runs_soak(tmp_path: Path, part: int) -> None:
    """500 kills, or as many as ``ASLEFT_SOAK_KILLS`` says, in twenty parts."""

    def work() -> dict[str, int]:
        seeds = range(10_000 + part, 10_000 + KILLS, PARTS)
        for seed in seeds:
            check_kill(tmp_path / str(seed), seed)
        return {"kills": len(seeds)}

    once(f"run-kills-{KILLS}-{part:02d}", work)
