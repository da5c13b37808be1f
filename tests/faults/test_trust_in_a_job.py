"""A level of trust is asked before a start: what is withdrawn sends nothing, stays open, and the record says why."""

from __future__ import annotations

from pathlib import Path

import pytest
from tests.kit.bench_job import Outcome, Scene, work

from asleft.book.dry_run import dry_run
from asleft.book.identifier import parse
from asleft.book.loader import load_procedure
from asleft.book.procedure import Printed, Way
from asleft.book.shelf import OWN_FOLDER
from asleft.book.trust import Trust
from asleft.event import body as b
from asleft.job.book_trust import known_trust, refusal, trust_file, withdraw
from asleft.job.clock import LoopClock, run_virtual
from asleft.model.origin import Origin

FILE = OWN_FOLDER / "throttle-stop-learn-aldra.yaml"


@pytest.fixture
def data(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("ASLEFT_DATA", str(tmp_path / "data"))
    return tmp_path


def play(folder: Path) -> Outcome:
    async def main(clock: LoopClock) -> Outcome:
        scene = Scene(clock, folder)
        try:
            return await work(scene, scene.person())
        finally:
            scene.car.detach()

    return run_virtual(main)


def test_a_withdrawn_procedure_sends_nothing_and_stays_open(data: Path) -> None:
    withdraw(FILE, "L. Brandt", "wrong edition")
    outcome = play(data / "job")
    assert outcome.sent("31015A31") == 0
    left = [e.body for e in outcome.events if isinstance(e.body, b.ItemLeftOpen)]
    assert "not started: withdrawn" in next(i.message.text for i in left if i.item == "throttle-stop-learn")


def test_the_bytes_of_the_dry_run_are_those_on_the_bus(data: Path) -> None:
    outcome = play(data / "job")
    procedure = load_procedure(FILE).procedure
    lines = dry_run(procedure, Way.BY_WIRE, parse("5A31", Printed.HEX))
    wanted = [request.upper() for line in lines for request in line.sends]
    assert wanted
    assert all(outcome.sent(request) > 0 for request in wanted)
    text = next(e.body for e in outcome.events if isinstance(e.body, b.RunStarted))
    assert text.digest == load_procedure(FILE).digest


def test_a_draft_may_not_act_on_a_real_car_and_a_check_counts_at_once(data: Path) -> None:
    loaded = load_procedure(FILE)
    other = data / "other.yaml"
    other.write_text(loaded.text.replace(f"id: {loaded.procedure.id}", "id: other"), encoding="utf-8")
    draft, levels = load_procedure(other), known_trust()
    assert levels(loaded) is Trust.CHECKED
    assert refusal(loaded, Way.BY_WIRE, Origin.VEHICLE, levels) is None
    assert levels(draft) is Trust.DRAFT
    assert refusal(draft, Way.BY_WIRE, Origin.BENCH, levels) is None
    assert refusal(draft, Way.BY_WIRE, Origin.VEHICLE, levels) is not None
    trust_file().withdraw("other", "torn page", "L. Brandt", "2026-01-05T10:00:00Z")
    assert refusal(draft, Way.BY_HAND, Origin.BENCH, levels) is not None
