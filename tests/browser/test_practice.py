"""A newcomer practises on the page: reads only what stands there, does the first exercise, fails the sloping floor.

The bound of ten minutes: the car's own time in the record without the waits for an answer, and time to read.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, expect

from asleft.event import body as b
from asleft.event.envelope import Event
from asleft.job.client import JobClient
from asleft.practice.exercise import load_exercise
from asleft.practice.kept import read_kept
from asleft.practice.scoring import Sheet, score
from kit.drive import press, wait_question
from kit.processes import PageProcess

from .conftest import WAIT_MS, OpenPage

STEP_MS = 90_000
#: A newcomer reads and does before each press: so long, s.
READS_S = 12.0
TEN_MINUTES_S = 600.0


@pytest.fixture
def own_page(tmp_path: Path) -> Iterator[PageProcess]:
    """A page on a data folder of its own, without any engine."""
    folder = tmp_path / "data"
    folder.mkdir()
    page = PageProcess(folder)
    page.start()
    yield page
    page.end()


def begin(page: Page, title: str, speed: str, hints: str = "follow") -> str:
    """Start an exercise by its title; the number of its job."""
    one = page.locator("li.exercise", has_text=title)
    one.locator("summary").click()
    one.get_by_label("Speed").fill(speed)
    one.get_by_label("Hints").select_option(hints)
    one.get_by_role("button").click()
    page.wait_for_url("**/practice/at/*", timeout=STEP_MS)
    return page.url.rsplit("/", 1)[1]


def newcomer(page: Page, most: int = 60) -> list[str]:
    """Reads the question; types what the last thing looked at shows, or what the page says the limit is; else presses
    the first button. Returns what was asked."""
    asked: list[str] = []
    last = ""
    for _ in range(most):
        last = wait_question(page, last, STEP_MS)
        if not last:
            return asked
        text = page.locator("#part-next .ask").first.inner_text()
        asked.append(text)
        box = page.locator("#part-next input[name=text]")
        if box.count():
            box.fill(what_to_type(page, text))
        press(page)
    raise AssertionError(f"no end within {most} questions: {asked[-3:]}")


def what_to_type(page: Page, text: str) -> str:
    """What somebody types who wants to get on: the instrument's number first; when that is refused, a number inside."""
    limit = re.search(r"the limit is ([\d.]+)", text)
    if limit:
        return f"{float(limit[1]) - 0.1:.1f}"
    tool = "across" if "across" in text else "along"
    before = page.locator(".practice-seen li").count()
    page.get_by_role("button", name=f"Lay the level {tool} the car").click()
    seen = page.locator(".practice-seen li.last", has_text=f"{tool} the car")
    expect(seen).to_have_count(1, timeout=WAIT_MS)
    assert before <= 4
    shown = re.search(r"-?[\d.]+", seen.locator("strong").inner_text())
    assert shown
    return shown[0]


def worked_s(events: Sequence[Event]) -> float:
    """Time at the car in which nobody was waited for, s: the waits depend on how fast this machine drives the page."""
    asked = {e.body.question.id: e.monotonic_s for e in events if isinstance(e.body, b.QuestionAsked)}
    answers = [(e.body.answer.question, e.monotonic_s) for e in events if isinstance(e.body, b.QuestionAnswered)]
    return events[-1].monotonic_s - events[0].monotonic_s - sum(at - asked[question] for question, at in answers)


def sheet_of(folder: Path, job: str) -> Sheet:
    kept = read_kept(folder, job)
    return score(load_exercise(kept.truth.exercise), JobClient(folder).watch(job).events, kept.truth)


@pytest.mark.full
@pytest.mark.timeout(400)
def test_a_newcomer_does_the_first_exercise_from_the_page_alone(
    own_page: PageProcess, tmp_path: Path, browser: Browser, open_page: OpenPage
) -> None:
    page = open_page(own_page.url)
    page.goto(own_page.url + "practice/")
    job = begin(page, "1. Idle high after cleaning", "20")
    expect(page.locator(".practice-hint")).to_contain_text("before anybody touches the car", timeout=STEP_MS)
    asked = newcomer(page)
    folder = tmp_path / "data"
    page.get_by_role("link", name="Debrief").click()
    expect(page.locator(".points")).to_have_text("100 of 100, passed", timeout=STEP_MS)
    assert sheet_of(folder, job).passed
    events = JobClient(folder).watch(job).events
    took_s = worked_s(events) + READS_S * len(asked)
    assert took_s <= TEN_MINUTES_S
    page.close()


@pytest.mark.full
@pytest.mark.timeout(400)
def test_a_newcomer_fails_the_sloping_floor_for_the_right_reason_and_the_debrief_teaches_it(
    own_page: PageProcess, tmp_path: Path, browser: Browser, open_page: OpenPage
) -> None:
    page = open_page(own_page.url)
    page.goto(own_page.url + "practice/")
    job = begin(page, "Yaw lamp with a sloping floor", "12", "exam")
    assert page.locator(".practice-hint").count() == 0
    newcomer(page)
    page.get_by_role("link", name="Debrief").click()
    expect(page.locator(".points")).to_contain_text("not passed", timeout=STEP_MS)
    text = page.locator("main").inner_text()
    assert "Safety gate closed: said '0.4'" in text
    assert "floor slopes" in text
    assert "The independent level comes first" in text
    assert "Best order" in text
    assert page.locator("figure svg").count() >= 1
    sheet = sheet_of(tmp_path / "data", job)
    assert len(sheet.unsafe) == 1
    page.get_by_label("On event number").fill("3")
    page.get_by_label("Remark").fill("Look at the floor first.")
    page.get_by_label("Your name").fill("the trainer")
    page.get_by_role("button", name="Add it").click()
    expect(page.locator("main")).to_contain_text("the trainer: Look at the floor first.", timeout=STEP_MS)
    page.close()
