"""The idle relearn of the petrol bench car in its three ways, and how each fails with the right cause in its list."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from msgspec import structs

from asleft.bench.bus_faults import Faults
from asleft.book.dry_run import dry_run
from asleft.book.identifier import Identifier
from asleft.book.loader import LoadedProcedure
from asleft.book.procedure import Printed, Way
from asleft.book.shelf import load_book
from asleft.event import body as b
from asleft.job.settings import BOOK
from asleft.model import step_more
from asleft.model.effect import Settlement
from asleft.model.reading import Evidence
from asleft.model.verdict import RunEnd, StepOutcome, Verdict
from asleft.run.beside import attached_text
from kit.bench_run import IDLE, LEARN, RunOutcome, RunScene, play_run

#: What every way proves: idle, air, trims, load and in-gear step, drop throttle, restart; the area is reported.
PROVED = {"flow-area": "CANNOT_TELL"} | dict.fromkeys(
    (
        "idle-spread", "trim-sum", "idle-mean", "idle-air", "load-dip", "load-back", "gear-dip", "gear-back",
        "drop-dip", "drop-back", "restart-settled",
    ),
    "PASS",
)  # fmt: skip


@pytest.fixture(scope="module")
def by_hand(tmp_path_factory: pytest.TempPathFactory) -> RunOutcome:
    return play_run(tmp_path_factory.mktemp("hand"), way=Way.BY_HAND)


@pytest.fixture(scope="module")
def by_wire(tmp_path_factory: pytest.TempPathFactory) -> RunOutcome:
    return play_run(tmp_path_factory.mktemp("wire"), way=Way.BY_WIRE)


def test_by_hand_it_is_seen_over_the_bus_and_proved_by_its_consequence(by_hand: RunOutcome) -> None:
    run = by_hand.run
    assert by_hand.done
    (sequence,) = run.sequences
    assert sequence.verdict is Verdict.PASS
    assert [a.act for a in sequence.acts][1:3] == ["pedal to the floor", "pedal up"]
    assert by_hand.verdicts() == {"idle-changed": "PASS", **PROVED}
    assert by_hand.scene is not None
    assert by_hand.scene.learn_started == 1
    assert not by_hand.intents, "nothing that changes the car was sent"


def test_while_the_sequence_runs_only_standard_reads_go_out_and_no_session_is_kept(by_hand: RunOutcome) -> None:
    begun, ended = (
        next(e.monotonic_s for e in by_hand.events if isinstance(e.body, kind) and e.body.step == "sequence")
        for kind in (b.StepStarted, b.StepStopped)
    )
    during = [f.data for f in by_hand.frames if begun < f.time_s < ended and f.id == 0x7E0]
    assert len(during) > 200
    assert {data[1] for data in during} == {0x01}, "service 01 and nothing else, not even tester present"


@pytest.mark.full
def test_a_recording_is_read_no_faster_than_it_says(by_hand: RunOutcome) -> None:
    """Ten times a second, though the car would answer four times as often."""
    (idle,) = [e.body.series for e in by_hand.events if isinstance(e.body, b.SamplesTaken) and e.body.name == "idle"]
    speed = next(s for s in idle if s.signal == "engine-speed")
    assert 9.0 < (len(speed) - 1) / (speed.times_s[-1] - speed.times_s[0]) <= 10.1


def test_the_other_ways_criterion_is_not_asked_of_the_wire(by_wire: RunOutcome) -> None:
    assert by_wire.verdicts() == PROVED
    assert by_wire.state.effects["r1.i1"].settlement is Settlement.DONE


@pytest.mark.parametrize(
    ("procedure", "identifier"), [pytest.param(IDLE, 0x5A32, marks=pytest.mark.full), (LEARN, 0x5A31)]
)
def test_the_bytes_of_the_dry_run_are_the_frames_at_the_link(tmp_path: Path, procedure: str, identifier: int) -> None:
    """Every byte of an effect and of a session that the dry run shows, in its order, and no other effect."""
    outcome = play_run(tmp_path, procedure)
    loaded = outcome.scene.book.procedure(procedure).procedure if outcome.scene else None
    assert loaded is not None
    chosen = Identifier(identifier, f"0x{identifier:04X}", Printed.HEX)
    shown = [s for line in dry_run(loaded, Way.BY_WIRE, chosen) for s in line.sends]
    wanted = [s for s in shown if s[:2] in ("10", "31", "14")]
    sent: list[str] = []
    for frame in outcome.frames:
        payload = frame.data[1 : 1 + frame.data[0]].hex().upper() if frame.data[0] <= 7 else ""
        if payload[:2] in ("10", "31", "14") and (not sent or payload != sent[-1]):
            sent.append(payload)
    assert sent == wanted
    assert outcome.effects_at_link() == outcome.intents == [f"3101{identifier:04X}"]


@pytest.mark.full
def test_the_same_kind_of_evidence_from_each_way(by_hand: RunOutcome, by_wire: RunOutcome, tmp_path: Path) -> None:
    beside = play_run(tmp_path, way=Way.BESIDE, hook=other_tester)
    for outcome in (by_hand, by_wire, beside):
        run = outcome.run
        assert {"before", "after"} <= set(run.pictures)
        assert run.results
        assert any(r.evidence is Evidence.MEASURED for r in run.results.values())
        assert {"idle-spread", "trim-sum"} <= set(outcome.verdicts())
        assert all(s.outcome is StepOutcome.DONE for s in run.steps)


REPORT = attached_text("ab" * 32, 12_345, "report from the other tester.pdf")


def other_tester(scene: RunScene, question: Any) -> Any:
    """The other tester at work: its own node on the bus, its own requests, while ours is silent."""
    if question.act == "other-tester-idle":
        node = scene.bus.join("other tester", lambda _frame: None)
        now = scene.clock.now()
        from asleft.model.frame import CanFrame

        def send(data: str) -> None:
            node.send(CanFrame(0x7E0, bytes.fromhex(data)))

        for after, data in (
            (3.0, "021003CCCCCCCCCC"),
            (3.2, "0431015A32CCCCCC"),
            *((5.0 + n, "023E80CCCCCCCCCC") for n in range(12)),
        ):
            scene.clock.call_at(now + after, lambda data=data: send(data))
    if question.message.id == "tester.end":

        async def wait() -> None:
            await scene.clock.sleep_until(scene.clock.now() + 20.0)

        return wait()
    return REPORT if question.message.id == "tester.report" else None


def up_to_the_other_testers_turn() -> LoadedProcedure:
    """The procedure beside, without the long proof after it."""
    loaded = load_book(BOOK).procedure(IDLE)
    steps = loaded.procedure.ways.beside
    last = next(n for n, step in enumerate(steps) if isinstance(step, step_more.TesterTurn))
    ways = structs.replace(loaded.procedure.ways, beside=steps[: last + 1])
    return structs.replace(loaded, procedure=structs.replace(loaded.procedure, ways=ways))


def test_beside_the_other_tester_our_requests_are_silent_and_what_is_not_seen_is_said(tmp_path: Path) -> None:
    beside = play_run(tmp_path, up_to_the_other_testers_turn(), way=Way.BESIDE, hook=other_tester)
    run = beside.run
    assert beside.done
    assert not beside.intents
    (blind,) = run.not_watched
    assert blind.end_s - blind.begin_s > 20.0
    ours = [f for f in beside.frames if blind.begin_s < f.time_s < blind.end_s]
    assert not ours, "one tester on the plug at a time"
    assert [m.mark for _, m in run.marks] == ["start", "end"]
    assert [d.sha256 for d in run.documents] == ["ab" * 32]
    assert {"before", "before-tester", "after-tester", "after"} == set(run.pictures)


@pytest.mark.full
def test_a_report_that_is_no_attached_document_is_asked_for_again(tmp_path: Path) -> None:
    said = iter(["it printed fine", "it gives no report"])

    def hook(scene: RunScene, question: Any) -> Any:
        return next(said) if question.message.id.startswith("tester.report") else other_tester(scene, question)

    beside = play_run(tmp_path, up_to_the_other_testers_turn(), way=Way.BESIDE, hook=hook)
    assert not beside.run.documents
    assert any(n.id == "tester.no-report" for n in beside.state.notes)


# -- failures by hand ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("fault", "size", "said", "cause"),
    [
        ("press partial", 0.8, "not far enough", "pedal not to the floor"),
        ("press short", 5.0, "too soon", "let up too soon"),
        pytest.param("released late", 4.0, "late", "act too early or too late", marks=pytest.mark.full),
        pytest.param("one more press", 1.0, "one press more", "pressed once more", marks=pytest.mark.full),
        pytest.param("key one position short", 1.0, "not seen", "key one position short", marks=pytest.mark.full),
    ],
)
def test_by_hand_a_miss_is_named_and_its_cause_is_in_the_list(
    tmp_path: Path, fault: str, size: float, said: str, cause: str
) -> None:
    def slip(scene: RunScene) -> None:
        scene.car.faults.put(fault, size)

    missed = play_run(tmp_path, way=Way.BY_HAND, prepare=slip)
    run = missed.run
    assert not missed.done
    assert run.end is RunEnd.STOPPED
    assert len(run.sequences) == 3, "three attempts, each stopped at its miss"
    assert {s.verdict for s in run.sequences} == {Verdict.FAIL}
    assert said in run.sequences[0].message.text
    assert cause in missed.causes
    assert run.verdict is Verdict.CANNOT_TELL
    assert missed.scene is not None
    assert missed.scene.learn_started == 0
    skipped = {s.id for s in run.steps if s.outcome is StepOutcome.SKIPPED}
    assert skipped == {"sign", "idle", "loads", "in-gear", "drop", "restart"}


@pytest.mark.full
def test_good_rhythm_without_consequence_fails(tmp_path: Path) -> None:
    """The foot brake shows nowhere on the bus; it was let up too soon: in time as far as seen, yet the idle stays."""

    def early(scene: RunScene, question: Any) -> None:
        if question.act == "idle-sequence":
            scene.clock.call_at(scene.clock.now() + 3.25 + 53.0, lambda: scene.car.act("brake", pressed=False))

    lazy = play_run(tmp_path, way=Way.BY_HAND, hook=early)
    assert lazy.run.sequences[-1].verdict is Verdict.PASS
    assert lazy.verdicts()["idle-changed"] == "FAIL"
    assert lazy.scene is not None
    assert lazy.scene.learn_started == 0


# -- failures by wire ------------------------------------------------------------------------------------------------


def _pedal(scene: RunScene, question: Any) -> None:
    if "Start now" in question.message.text:
        scene.clock.call_at(scene.clock.now() + 6.0, lambda: scene.car.act("pedal", percent=30.0))


def _stalls(scene: RunScene, question: Any) -> None:
    if "Start now" in question.message.text:
        scene.clock.call_at(scene.clock.now() + 6.0, lambda: scene.car.act("key", position="off"))


def _deaf(scene: RunScene, question: Any) -> None:
    if "Start now" in question.message.text:
        scene.bus.faults = Faults(lost=1.0, only=lambda f: f.id == 0x7E8)


def _wrong_stop(scene: RunScene, question: Any) -> None:
    if "Start now" in question.message.text:
        scene.car.powertrain.plate.measured_stop_pct += 3.0


def _cooled(scene: RunScene, question: Any) -> None:
    if "Read before" in question.message.text:
        scene.car.powertrain.temperatures.coolant_c = 60.0


@pytest.mark.parametrize(
    ("hook", "ends", "cause"),
    [
        (_pedal, {RunEnd.STOPPED, RunEnd.REFUSED}, "foot on the pedal"),
        pytest.param(
            _stalls,
            {RunEnd.STOPPED, RunEnd.FAILED, RunEnd.REFUSED},
            "engine stopped by itself|not running long enough",
            marks=pytest.mark.full,
        ),
        pytest.param(_deaf, {RunEnd.FAILED}, "engine not warm, or not running", marks=pytest.mark.full),
        pytest.param(_wrong_stop, {RunEnd.REFUSED}, "lower stop of the throttle not learned", marks=pytest.mark.full),
        (_cooled, {RunEnd.REFUSED}, "engine not warm"),
    ],
)
def test_by_wire_it_fails_with_the_cause_in_its_list(tmp_path: Path, hook: Any, ends: set[RunEnd], cause: str) -> None:
    failed = play_run(tmp_path, hook=hook, gate_timeout_s=20.0)
    assert failed.run.end in ends
    assert any(c in failed.causes for c in cause.split("|")), failed.causes
    assert failed.intents.count("31015A32") <= 1
    assert failed.effects_at_link().count("31015A32") <= 1
    assert not failed.state.unsettled
    if hook is not _deaf:
        assert set(failed.sessions.values()) == {1}
