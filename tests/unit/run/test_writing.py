"""A write by wire: dry run and link byte for byte, refused, other conditions, and a crash at each of its boundaries."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from asleft.book.dry_run import dry_run
from asleft.book.procedure import Way
from asleft.event import body as b
from asleft.job.clock import LoopClock, run_virtual
from asleft.model.effect import Settlement
from asleft.model.verdict import RunEnd
from asleft.record.job_journal import JobJournal
from asleft.talk.conversations import Conversations
from kit.bench_run import RunOutcome, RunScene, carry_out, play_run
from kit.variant import NEW, PROCEDURE, Keys, variant


def keyed(scene: RunScene) -> None:
    scene.key = Keys()


def held(outcome: RunOutcome) -> str:
    assert outcome.scene is not None
    return outcome.scene.car.module("engine").peek(0x3B10).hex().upper()


def write_of(outcome: RunOutcome) -> Any:
    return next(e for e in outcome.state.effects.values() if e.intent.payload.startswith("2E"))


def test_written_once_read_back_and_the_frames_are_those_of_the_dry_run(tmp_path: Path) -> None:
    outcome = play_run(tmp_path, variant(), prepare=keyed)
    assert outcome.done
    assert held(outcome) == NEW
    assert write_of(outcome).settlement is Settlement.DONE
    shown = [s for line in dry_run(variant().procedure, Way.BY_WIRE) for s in line.sends]
    sent = [p for p in outcome.effects_at_link() if not p.startswith("27")]
    assert sent == [s for s in shown if s[:2] in ("2E", "11")] == ["2E3B10" + NEW, "1101"]
    assert not outcome.state.unsettled
    question = next(
        e.body.question for e in outcome.events
        if isinstance(e.body, b.QuestionAsked) and e.body.question.message.id == "write.confirm"
    )  # fmt: skip
    assert "bytes 2E 3B 10 02 11 41 AB" in question.details
    assert any(d.startswith("now 02 11 40") for d in question.details)


@pytest.mark.parametrize("wrong", ["021141AC", pytest.param("0211", marks=pytest.mark.full)])
def test_a_wrong_checksum_or_length_is_refused_and_changes_nothing(tmp_path: Path, wrong: str) -> None:
    outcome = play_run(tmp_path, variant(PROCEDURE.replace(NEW, wrong)), prepare=keyed)
    assert outcome.run.end is RunEnd.REFUSED
    assert held(outcome) == "021140AC"
    assert write_of(outcome).settlement is Settlement.NOT_DONE


class Killed(BaseException):
    """The process is gone."""


def kill_at(monkeypatch: pytest.MonkeyPatch, boundary: str) -> None:
    """From this boundary of the write on, nothing of the process happens any more."""
    append, send = JobJournal.append, Conversations.carry_out
    dead: list[bool] = []
    writes: set[str] = set()

    def appended(self: JobJournal, body: Any, *, actor: str = "") -> Any:
        if dead:
            raise Killed
        mine = isinstance(body, b.EffectAnswered | b.EffectSettled) and body.intent in writes
        if mine and boundary == ("answer" if isinstance(body, b.EffectAnswered) else "settle"):
            dead.append(True)
            raise Killed
        return append(self, body, actor=actor)

    async def carried(self: Conversations, receipt: Any, **more: Any) -> bytes:
        if dead:
            raise Killed
        if receipt.payload.startswith("2E"):
            writes.add(receipt.intent)
            if boundary == "intent":
                dead.append(True)
                raise Killed
        answer = await send(self, receipt, **more)
        if receipt.payload.startswith("2E") and boundary == "send":
            dead.append(True)
            raise Killed
        return answer

    monkeypatch.setattr(JobJournal, "append", appended)
    monkeypatch.setattr(Conversations, "carry_out", carried)


@pytest.mark.full
@pytest.mark.parametrize(("boundary", "written"), [(b, b != "intent") for b in ("intent", "send", "answer", "settle")])
def test_a_crash_at_each_boundary_is_settled_by_reading_and_nothing_goes_twice(
    tmp_path: Path, boundary: str, written: bool
) -> None:
    def main(kill: Callable[[], None]) -> Any:
        async def scene_of(clock: LoopClock) -> RunOutcome:
            scene = RunScene(clock, tmp_path)
            keyed(scene)
            await scene.key_on()
            try:
                kill()
                with pytest.raises(Killed):
                    await carry_out(scene, scene.person(), variant())
                patch.undo()
                return await carry_out(scene, scene.person(), recover=True, run=False)
            finally:
                scene.car.detach()

        return scene_of

    with pytest.MonkeyPatch.context() as patch:
        outcome = run_virtual(main(lambda: kill_at(patch, boundary)))
    assert sum(p.startswith("2E") for p in outcome.effects_at_link()) == int(written)
    assert not outcome.state.unsettled
    wanted = Settlement.DONE if written else Settlement.PERSON_MUST_DECIDE
    assert write_of(outcome).settlement is wanted
