"""Single steps and rules of runs on the bench car: pause, waivers, repeats, hard stops, access, waiting, typing."""

from __future__ import annotations

import stat
from pathlib import Path

import msgspec
import pytest

from asleft.book.loader import LoadedProcedure, read_procedure
from asleft.book.procedure import Way
from asleft.event import body as b
from asleft.job.access_program import ProgramKey
from asleft.job.clock import LoopClock, run_virtual
from asleft.model.effect import Settlement
from asleft.model.errors import Code, RunError
from asleft.model.module import ModuleAddress
from asleft.model.question import Question
from asleft.model.step_more import TypeIn
from asleft.model.verdict import RunEnd, StepOutcome
from asleft.run.cues import COUNT_IN, cues
from asleft.run.remaining import progress
from asleft.run.waiting import complaint, same
from kit.bench_job import HookedPerson
from kit.bench_run import IDLE, LEARN, RunOutcome, RunScene, carry_out, play_run

HEAD = """
id: steps
function: {function}
name: Steps of a test
revision: 1
risk: {risk}
source: {{title: Invented page, edition: "1", page: "1", kind: fictional, entered-by: A, checked-by: B}}
cautions: [Keep clear.]
entry:
  - {{id: rest, text: car standing, kind: at-most, signal: vehicle-speed, high: 0, unit: km/h, waivable: {waivable}}}
{more}
interlocks:
  - {{holds: rest, asks: stop}}
ways:
  by-wire:
"""


def procedure(
    *steps: str, function: str = "battery-data", risk: int = 1, waivable: str = "false", more: str = ""
) -> LoadedProcedure:
    text = HEAD.format(function=function, risk=risk, waivable=waivable, more=more)
    text += "".join(f"    - {step}\n" for step in steps)
    return read_procedure(text.encode(), "p.yaml")


TELL = "{type: tell, id: hello, text: hello}"
AGAIN = "{type: tell, id: again, text: again}"
UNDER_VOLTS = (
    "  - {id: volts, text: supply, kind: at-least, signal: control-module-voltage, low: 15.5, unit: V, waivable: true}"
)


# -- pause -----------------------------------------------------------------------------------------------------------


class Pausing(HookedPerson):
    """A person who asks for one pause."""

    wants_pause = True

    def paused(self) -> None:
        self.wants_pause = False


def test_a_pause_measures_the_conditions_again(tmp_path: Path) -> None:
    async def main(clock: LoopClock) -> RunOutcome:
        scene = RunScene(clock, tmp_path)
        await scene.key_on()
        try:
            return await carry_out(scene, Pausing(scene.person(), lambda _q: None), procedure(TELL, AGAIN))
        finally:
            scene.car.detach()

    outcome = run_virtual(main)
    states = [e.body.state for e in outcome.events if isinstance(e.body, b.RunProgress)]
    assert states == ["preparing", "waiting", "acting", "paused", "waiting", "acting", "closing", "proving", "judged"]
    assert sum(s.id == "entry-conditions" for s in outcome.run.steps) == 2


# -- waivers and gates -----------------------------------------------------------------------------------------------


def test_what_may_be_waived_is_waived_by_name_with_a_reason(tmp_path: Path) -> None:
    answers = {"may be let be": ["go on without it"], "Going on without": ["  ", "charger is on its way"]}
    outcome = play_run(tmp_path, procedure(TELL, more=UNDER_VOLTS), answers=answers)
    (waived,) = outcome.run.waived
    assert outcome.done
    assert (waived.condition, waived.by, waived.reason) == ("volts", "M. Okafor", "charger is on its way")


def test_a_measured_condition_that_may_not_be_waived_keeps_the_gate_closed(tmp_path: Path) -> None:
    more = UNDER_VOLTS.replace("waivable: true", "waivable: false")
    outcome = play_run(tmp_path, procedure(TELL, more=more), gate_timeout_s=20.0)
    assert outcome.run.end is RunEnd.REFUSED
    assert "at least 15.5" in (outcome.run.result.text if outcome.run.result else "")
    assert [s.outcome for s in outcome.run.steps if s.id == "hello"] == [StepOutcome.SKIPPED]


# -- hard stops ------------------------------------------------------------------------------------------------------


def test_a_hard_stop_holds_even_for_a_procedure_that_no_check_saw(tmp_path: Path) -> None:
    loaded = procedure(
        "{type: actuate, id: lamp, text: lamp, identifier: '4C21', printed: hex, state: '01', seconds: 2}"
    )
    hard = msgspec.structs.replace(loaded.procedure, function="airbag-config")
    outcome = play_run(tmp_path, msgspec.structs.replace(loaded, procedure=hard))
    assert outcome.run.end is RunEnd.REFUSED
    assert "hard-stop" in (outcome.run.result.text if outcome.run.result else "")
    assert not outcome.intents


# -- repeats ---------------------------------------------------------------------------------------------------------


def test_the_same_bytes_go_again_only_with_a_reason(tmp_path: Path) -> None:
    async def main(clock: LoopClock) -> RunOutcome:
        scene = RunScene(clock, tmp_path)
        await scene.key_on()
        try:
            await carry_out(scene, scene.person(), "planned-clear")
            return await carry_out(
                scene, scene.person({"Why does it go again": ["new battery fitted"]}), "planned-clear"
            )
        finally:
            scene.car.detach()

    outcome = run_virtual(main)
    first, second = (e.body.intent for e in outcome.events if isinstance(e.body, b.IntentWritten))
    assert first.repeat_of == ""
    assert second.repeat_of == first.id
    assert "number 2: new battery fitted" in second.why


# -- recovery --------------------------------------------------------------------------------------------------------


def test_another_module_after_a_crash_is_a_question_not_a_guess(tmp_path: Path) -> None:
    """The serial number does not agree any more: nothing is concluded from what it says."""
    from asleft.model.effect import Effect, Intent, Settle
    from asleft.record.journal import open_journal
    from kit.bench_run import ENGINE, opened

    async def main(clock: LoopClock) -> RunOutcome:
        scene = RunScene(clock, tmp_path)
        await scene.key_on()
        with open_journal(tmp_path) as journals:
            journal = journals.create("T-1", source=scene.link, clock=clock)
            opened(scene, journal)
            journal.intend(
                Intent(
                    "r1.i1", "r1", Effect.ACTUATES, ENGINE, "OTHER", "0" * 64, "31015A31", "test", Settle.ROUTINE_RESULT
                )
            )
            journal.give_back()
        try:
            return await carry_out(scene, scene.person(), recover=True, run=False)
        finally:
            scene.car.detach()

    effect = run_virtual(main).state.effects["r1.i1"]
    assert effect.settlement is Settlement.PERSON_MUST_DECIDE
    assert effect.message is not None
    assert "another module" in effect.message.text


# -- reactions -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("reaction", ["stop", "finish"])
def test_finish_goes_on_to_its_end(tmp_path: Path, reaction: str) -> None:
    """The supply shown sags while the module learns: *stop* stops it, *finish* lets it end and says so."""
    text = Path("src/asleft/book/data/throttle-stop-learn-aldra.yaml")
    text = Path(__file__).resolve().parents[3] / text
    loaded = read_procedure(text.read_text().replace("reaction: stop", f"reaction: {reaction}").encode(), "p.yaml")

    def sag(scene: RunScene, question: Question) -> None:
        if "Start now" in question.message.text:
            scene.clock.call_at(scene.clock.now() + 4.0, lambda: scene.car.engine_side.bias.update({0x42: -2.0}))

    outcome = play_run(tmp_path, loaded, hook=sag)
    first = outcome.state.effects["r1.i1"]
    stopped = "31025A31" in outcome.intents
    assert stopped == (reaction == "stop")
    assert first.settlement is (Settlement.NOT_DONE if stopped else Settlement.DONE)


# -- control of an output --------------------------------------------------------------------------------------------


def test_an_output_the_module_does_not_have_is_refused_and_nothing_is_left_on(tmp_path: Path) -> None:
    step = "{type: actuate, id: lamp, text: lamp on, identifier: '1234', printed: hex, state: '01', seconds: 2}"
    outcome = play_run(tmp_path, procedure(step))
    assert outcome.run.end is RunEnd.REFUSED
    assert outcome.effects_at_link() == ["2F12340301"]
    assert not outcome.state.unsettled


# -- access ----------------------------------------------------------------------------------------------------------

ACCESS = ("{type: session, id: extended}", "{type: access, id: open, level: 1}")


class Keys:
    """The workshop's own way to a key, for the bench: it fails on purpose unless told otherwise."""

    def __init__(self, key: bytes) -> None:
        self._key = key
        self.seeds: list[bytes] = []

    async def key(self, module: ModuleAddress, level: int, seed: bytes) -> bytes:
        self.seeds.append(seed)
        return self._key


def test_without_a_way_in_the_settings_nothing_is_asked(tmp_path: Path) -> None:
    outcome = play_run(tmp_path, procedure(*ACCESS))
    assert outcome.run.end is RunEnd.REFUSED
    assert "access-closed" in (outcome.run.result.text if outcome.run.result else "")
    assert not outcome.intents


def test_a_wrong_key_is_one_attempt_and_stands_nowhere(tmp_path: Path) -> None:
    keys = Keys(bytes.fromhex("DEADBEEFDEADBEEF"))

    def give(scene: RunScene) -> None:
        scene.key = keys

    outcome = play_run(tmp_path, procedure(*ACCESS), prepare=give)
    assert outcome.run.end is RunEnd.REFUSED
    assert len(keys.seeds) == 1
    assert sum(p.startswith("2702") for p in outcome.intents) <= 1
    stored = "".join(msgspec.json.encode(e).decode() for e in outcome.events).upper()
    assert "DEADBEEF" not in stored
    assert keys.seeds[0].hex().upper() not in stored
    shown = repr(outcome.scene.shown if outcome.scene else "").upper()
    assert "DEADBEEF" not in shown
    again = play_again(tmp_path, keys)
    assert len(keys.seeds) == 1, "after a refused key this job asks no more"
    assert again.run.end is RunEnd.REFUSED


def play_again(folder: Path, keys: Keys) -> RunOutcome:
    async def main(clock: LoopClock) -> RunOutcome:
        scene = RunScene(clock, folder)
        scene.key = keys
        await scene.key_on()
        try:
            return await carry_out(scene, scene.person(), procedure(*ACCESS))
        finally:
            scene.car.detach()

    return run_virtual(main)


@pytest.mark.parametrize(
    ("script", "good"),
    [("read s; echo 01AB", True), ("exit 3", False), ("echo no key", False), ("cat >/dev/null", False)],
)
def test_the_program_of_the_settings(tmp_path: Path, script: str, good: bool) -> None:
    import asyncio

    path = tmp_path / "key"
    path.write_text(f"#!/bin/sh\n{script}\n")
    path.chmod(path.stat().st_mode | stat.S_IXUSR)
    asked = ProgramKey(path).key(ModuleAddress("engine", 0x7E0, 0x7E8), 1, bytes.fromhex("A1B2C3D4"))
    if good:
        assert asyncio.run(asked) == b"\x01\xab"
        return
    with pytest.raises(RunError) as caught:
        asyncio.run(asked)
    assert caught.value.code is Code.ACCESS_CLOSED
    assert "A1B2" not in caught.value.sentence().upper()


def test_a_program_that_is_not_there_is_said_plainly(tmp_path: Path) -> None:
    import asyncio

    with pytest.raises(RunError, match="cannot be started"):
        asyncio.run(ProgramKey(tmp_path / "none").key(ModuleAddress("engine", 0x7E0, 0x7E8), 1, b"\x01"))


# -- waiting, typing, driving ----------------------------------------------------------------------------------------


def test_what_is_waited_for_and_does_not_come_ends_with_the_value(tmp_path: Path) -> None:
    wait = (
        "{type: wait-until, id: warm, text: warm, timeout-s: 5, condition: {id: warm, text: very warm, kind: at-least, "
        "signal: coolant-temperature, low: 120, unit: °C}}"
    )
    outcome = play_run(tmp_path, procedure(wait))
    assert outcome.run.end is RunEnd.STOPPED
    assert "at least 120" in (outcome.run.result.text if outcome.run.result else "")


def test_typing_twice_must_agree(tmp_path: Path) -> None:
    step = "{type: type-in, id: cap, text: capacity from the label, unit: Ah, low: 30, high: 120, save: capacity}"
    answers = {"Once more": ["71", "70.0"], "capacity from the label": ["700", "70", "70"]}
    outcome = play_run(tmp_path, procedure(step), answers=answers)
    assert outcome.done
    texts = [q.message.text for q, _ in outcome.state.questions.values()]
    assert any("limit is 120" in t for t in texts)
    assert any("do not agree" in t for t in texts)


def test_letters_and_length_of_a_code() -> None:
    step = TypeIn("c", "code", "code", length=4, letters="ABC123")
    assert complaint(step, "AB12") is None
    assert complaint(step, "AB1") is not None
    assert complaint(step, "ABO1") is not None
    assert same(step, "AB12", "AB12")
    assert not same(step, "AB12", "AB21")


def test_a_drive_is_recognised_while_driving_and_spoken(tmp_path: Path) -> None:
    step = (
        "{type: drive-segment, id: road, text: steady drive, hold-s: 5, timeout-s: 120, signals: [vehicle-speed], "
        "save: road, conditions: [{id: v, text: speed, kind: within, signal: vehicle-speed, low: 40, high: 60, "
        "unit: km/h}]}"
    )
    loaded = procedure(step)
    road = msgspec.structs.replace(loaded.procedure, interlocks=())

    def drive(scene: RunScene, question: Question) -> None:
        if question.act != "drive:road":
            return
        speeds = iter([10.0, 30.0, 70.0, 50.0, 50.0, 50.0, 50.0, 50.0, 50.0, 50.0, 50.0, 50.0])
        side = scene.car.engine_side

        def next_speed() -> None:
            side.bias[0x0D] = next(speeds, 50.0)
            scene.clock.call_at(scene.clock.now() + 2.0, next_speed)

        next_speed()

    outcome = play_run(tmp_path, msgspec.structs.replace(loaded, procedure=road), hook=drive)
    assert outcome.done
    assert outcome.scene is not None
    spoken = [v["message"].text for k, v in outcome.scene.shown if k == "speech"]
    assert any("30" in t and "40" in t for t in spoken), spoken
    assert any("70" in t and "60" in t for t in spoken), spoken
    assert spoken[-1].startswith("Segment done")
    locks = [v["locked"] for k, v in outcome.scene.shown if k == "lock"]
    assert locks == [True, False]


# -- cues and progress -----------------------------------------------------------------------------------------------


def test_cues_count_in_and_have_every_act_with_its_window() -> None:
    from asleft.book.shelf import load_book
    from asleft.job.settings import BOOK
    from asleft.model.step_more import TimedSequence

    steps = load_book(BOOK).procedure(IDLE).procedure.ways.steps(Way.BY_HAND)
    step = next(s for s in steps if isinstance(s, TimedSequence))
    told = cues(step)
    assert [c.text for c in told[:COUNT_IN]] == ["3", "2", "1"]
    assert len(told) == COUNT_IN + len(step.marks)
    assert all(c.opens_s is not None and c.opens_s <= c.at_s <= (c.closes_s or 0.0) for c in told[COUNT_IN:])


def test_progress_goes_up_and_what_remains_goes_down() -> None:
    from asleft.book.shelf import load_book
    from asleft.job.settings import BOOK

    steps = load_book(BOOK).procedure(LEARN).procedure.ways.steps(Way.BY_WIRE)
    stands = [progress(steps, n, 0.0) for n in range(1, len(steps) + 1)]
    assert [p.share for p in stands] == sorted(p.share for p in stands)
    assert [p.remaining_s for p in stands] == sorted((p.remaining_s for p in stands), reverse=True)
    shop = progress(steps, 1, 0.0, usual_s=300.0)
    assert (round(shop.remaining_s), shop.by) == (300, "shop")
    assert progress(steps, 4, 5.0, module=0.5).remaining_s < progress(steps, 4, 5.0, module=0.2).remaining_s
