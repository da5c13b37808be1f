"""What happens in the middle of a write: key off, supply gone, link unplugged, an answer lost. A defined end each time.

The write of the body module's coding is one message in four frames; it is cut at its first frame, between frames and
after its last, while the module stores it.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from asleft.bench.bus_faults import Faults
from asleft.model.effect import Settlement
from asleft.model.errors import Code, LinkError
from asleft.model.verdict import RunEnd
from asleft.run.asking import STOP
from asleft.run.deciding import HAPPENED, UNDECIDED
from kit.bench_run import RunOutcome
from kit.coding_bay import Bay, at_frame, play, writes

BLANK = b"\xff" * 20
Trouble = Callable[[Bay], None]


def key_off(bay: Bay) -> None:
    """Somebody turns the key; it is turned on again when the program asks for it."""
    bay.scene.car.act("key", position="off")


def supply_sags(bay: Bay) -> None:
    """The support unit trips, the clamp is loose and the lamps come on, for eight seconds."""
    car = bay.scene.car
    car.act("charger", on=False)
    car.act("fault", name="bad contact", size=0.2)
    car.act("load", name="lamps", on=True)

    def back() -> None:
        car.act("load", name="lamps", on=False)
        car.act("mend", name="bad contact")
        car.act("charger", on=True)

    bay.scene.clock.call_at(bay.scene.clock.now() + 8.0, back)


def asleep(bay: Bay) -> None:
    """The modules fall asleep in the middle; they wake when the key is turned on again."""
    bay.scene.car.act("fault", name="modules fall asleep", size=1.0)


def adapter_gone(bay: Bay) -> None:
    """The interface's plug is pulled out of the computer: the driver says so."""
    bay.scene.link._on_lost(LinkError(Code.LINK_LOST, "unplugged", "bench"))


def unplugged(bay: Bay) -> None:
    """Nothing is heard in either direction for eight seconds."""
    bay.scene.bus.faults = Faults(lost=1.0)
    bay.scene.clock.call_at(bay.scene.clock.now() + 8.0, lambda: setattr(bay.scene.bus, "faults", Faults()))


def deaf(bay: Bay) -> None:
    """The module does it, and no answer of it comes through for four seconds."""
    bay.scene.bus.faults = Faults(lost=1.0, only=lambda frame: frame.id == 0x6C5)
    bay.scene.clock.call_at(bay.scene.clock.now() + 4.0, lambda: setattr(bay.scene.bus, "faults", Faults()))


def cut(folder: Path, trouble: Trouble, frame: int, answers: Any = None, hook: Any = lambda _q: None) -> Any:
    async def doing(bay: Bay) -> tuple[Bay, RunOutcome]:
        at_frame(bay, frame, lambda: trouble(bay))
        return bay, await bay.run(answers, hook, gate_timeout_s=20.0)

    return play(folder, doing)


def holds(bay: Bay, outcome: RunOutcome) -> Settlement:
    """What no interruption may break; and how the write was settled."""
    sent = [p for p in writes(outcome) if p.startswith("2E3B30")]
    assert len(sent) <= 1, "never sent again by itself"
    assert bay.held in (BLANK, bay.old), "the module stores a coding as a whole or not at all"
    assert not outcome.state.unsettled
    assert outcome.run.end is not None or outcome.run.progress == "judged"
    effect = next(e for e in outcome.state.effects.values() if e.intent.payload.startswith("2E"))
    assert effect.settlement is not None
    if effect.settlement is Settlement.DONE:
        assert bay.held == bay.old
    if effect.settlement is Settlement.NOT_DONE:
        assert bay.held == BLANK
    if effect.settlement is Settlement.PERSON_MUST_DECIDE:
        assert outcome.run.end is RunEnd.FAILED
        assert "link-lost" in (outcome.run.result.text if outcome.run.result else "")
    return effect.settlement


TROUBLES = (key_off, supply_sags, unplugged, deaf, asleep, adapter_gone)
QUICK = [(key_off, 2), (unplugged, 4)]
REST = [(t, n) for t in TROUBLES for n in (1, 2, 4) if (t, n) not in QUICK]


@pytest.mark.parametrize(("trouble", "frame"), [*QUICK, *(pytest.param(t, n, marks=pytest.mark.full) for t, n in REST)])
def test_a_write_that_is_cut_is_settled_by_reading_or_put_to_the_person(
    tmp_path: Path, trouble: Trouble, frame: int
) -> None:
    bay, outcome = cut(tmp_path, trouble, frame)
    holds(bay, outcome)
    if outcome.run.end is not None:
        assert outcome.causes, "how it ended has its causes in the list"


def later(folder: Path, trouble: Trouble, answers: Any = None) -> tuple[RunOutcome, RunOutcome]:
    """Cut after the last frame; then the job goes on with key and link as they should be."""

    async def doing(bay: Bay) -> tuple[RunOutcome, RunOutcome]:
        at_frame(bay, 4, lambda: trouble(bay))
        first = await bay.run(answers, gate_timeout_s=20.0)
        bay.scene.bus.faults = Faults()
        return first, await bay.run(recover=True, run=False)

    return play(folder, doing)


def of_the_write(outcome: RunOutcome) -> Settlement | None:
    return next(e.settlement for e in outcome.state.effects.values() if e.intent.payload.startswith("2E"))


def test_with_the_adapter_gone_nobody_is_asked_to_guess_it_is_read_when_the_job_goes_on(tmp_path: Path) -> None:
    first, then = later(tmp_path, adapter_gone)
    assert of_the_write(first) is Settlement.PERSON_MUST_DECIDE
    assert first.run.end is RunEnd.FAILED
    assert not any(q.message.id in ("write.look", "recover.decide") for q, _ in first.state.questions.values())
    assert of_the_write(then) is Settlement.DONE
    assert len(writes(then)) == 1


@pytest.mark.full
def test_a_stop_while_it_is_unread_ends_the_run_and_it_is_read_when_the_job_goes_on(tmp_path: Path) -> None:
    def silent(bay: Bay) -> None:
        bay.scene.bus.faults = Faults(lost=1.0)

    first, then = later(tmp_path, silent, {"Nothing is sent again": [STOP]})
    assert of_the_write(first) is Settlement.PERSON_MUST_DECIDE
    assert first.run.end is RunEnd.STOPPED
    assert of_the_write(then) is Settlement.DONE
    assert len(writes(then)) == 1


@pytest.mark.parametrize(
    ("said", "settlement"), [(HAPPENED, Settlement.DONE), pytest.param(UNDECIDED, None, marks=pytest.mark.full)]
)
def test_what_stays_silent_is_put_to_the_person_with_the_facts(
    tmp_path: Path, said: str, settlement: Settlement | None
) -> None:
    def silent(bay: Bay) -> None:
        bay.scene.bus.faults = Faults(lost=1.0, only=lambda frame: frame.id == 0x6C5)

    _, outcome = cut(tmp_path, silent, 4, {"may have been carried out": [said]})
    (question,) = (q for q, _ in outcome.state.questions.values() if q.message.id == "recover.decide")
    assert "intended as writes" in question.details
    assert of_the_write(outcome) is (settlement or Settlement.PERSON_MUST_DECIDE)
    assert outcome.run.end is RunEnd.FAILED
