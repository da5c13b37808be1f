"""Cable or motor: decided from live readings, confirmed by a person; a cable throttle is led to its own procedure."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from asleft.book.procedure import Throttle
from asleft.job.fittings import YES
from asleft.job.throttle_kind import CABLE, led, throttle_of
from asleft.model.module import Picture, PictureKind
from asleft.model.origin import Origin
from asleft.model.reading import Quality, Reading
from asleft.model.verdict import Verdict
from asleft.plan.needs import find_needs
from asleft.plan.work_items import find_work_item
from asleft.practice.demo_book import play
from asleft.practice.demo_book_engine import CABLE as CABLE_PLAY

MOTOR = ("throttle-absolute", "throttle-commanded", "accelerator-pedal-d")


def picture(*given: str, start_s: float = 1.0) -> Picture:
    readings = tuple(Reading(s, 12.0, "%", 0.1, start_s, Origin.BENCH, 0.0, Quality.GOOD) for s in given)
    return Picture(PictureKind.AS_FOUND, start_s, start_s + 1.0, readings=readings)


@pytest.mark.parametrize(
    ("given", "kind"),
    [
        (MOTOR, Throttle.ELECTRONIC),
        (MOTOR[:1], Throttle.CABLE),
        (MOTOR[:2], None),  # half of what a motor shows decides nothing
        (("engine-speed",), None),
    ],
)
def test_the_signals_decide_or_do_not(given: tuple[str, ...], kind: Throttle | None) -> None:
    assert throttle_of([picture(*given)]) is kind


def test_the_newest_picture_counts() -> None:
    assert throttle_of([picture(*MOTOR, start_s=9.0), picture(MOTOR[0])]) is Throttle.ELECTRONIC


def test_it_is_asked_once_led_when_agreed_and_noted_when_contradicted() -> None:
    items = (find_work_item("throttle-removed-refitted"),)
    cable = [picture(MOTOR[0])]
    found = find_needs(items, cable, ())
    assert CABLE in led(found, cable, {}).questions
    agreed = led(found, cable, {CABLE: True}, {"throttle-idle-switch-cable": "own"})
    assert {n.function: n.procedure for n in agreed.needs}["throttle-idle-switch-cable"] == "own"
    assert "throttle-stop-learn" not in {n.function for n in agreed.needs}
    denied = led(found, cable, {CABLE: False})
    assert [m.id for m in denied.notes] == ["throttle.contradiction"]
    motor = [picture(*MOTOR)]
    assert led(found, motor, {}) == found


def test_a_cable_throttle_taken_for_an_electronic_one_gets_its_own_procedure(tmp_path: Path) -> None:
    """The order says what is usual for the electronic one; the car on its K-line says otherwise, a person agrees."""
    agreed = {"moved by a cable": (YES,)}
    played = play(replace(CABLE_PLAY, work="throttle-removed-refitted", answers=agreed), tmp_path)
    assert played.function == "throttle-idle-switch-cable"
    assert played.verdict is Verdict.PASS
    assert "throttle-stop-learn" not in {n.function for n in played.state.needs}
    asked = [q.message.text for q, a in played.state.questions.values() if a is not None]
    assert any("moved by a cable" in text for text in asked)
