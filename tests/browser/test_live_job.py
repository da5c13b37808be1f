"""The real job: bench car, engine and page as processes of their own, worked from the page."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, expect

from asleft.bench.cars.petrol import PetrolCar
from asleft.event import body as b
from asleft.event.envelope import Event
from asleft.job.client import JobClient
from asleft.model.control import ControlHow
from asleft.model.verdict import RunEnd, Verdict
from asleft.record.verify import verify
from asleft.web.stage import last_runs
from kit.drive import press, wait_question
from kit.hands import Fingers, Hands, Keys
from kit.processes import Stack, wait_until
from kit.tour import SECOND, SIZES, Tour

from .conftest import WAIT_MS, OpenPage

STEP_MS = 90_000


def open_a_job(page: Page, vin: str) -> str:
    """Fill in the form as a technician does; returns the job's number."""
    page.get_by_label("VIN, from the body plate").fill(vin)
    page.get_by_label("Make").fill("Aldra")
    page.get_by_label("Model").fill("1.6")
    page.get_by_label("Year").fill("2019")
    page.get_by_label("What the customer says").fill("idle hunts <b>\u202e")
    page.get_by_label("Find by words").fill("throttle removed")
    page.get_by_label("throttle body removed, cleaned and refitted").check()
    page.get_by_role("button", name="Open the job").click()
    page.wait_for_url("**/job/*", timeout=STEP_MS)
    return page.url.rsplit("/", 1)[1]


def answer_until(page: Page, text: str, last: str = "") -> str:
    """Answer with the first button until a question has this text; returns that question's id, unanswered."""
    for _ in range(20):
        last = wait_question(page, last, STEP_MS)
        if text in page.locator("#part-next .ask").inner_text():
            return last
        press(page)
    raise AssertionError(f"never asked: {text}")


def events(stack: Stack, job: str) -> tuple[Event, ...]:
    return JobClient(stack.folder).watch(job).events


@pytest.mark.full
@pytest.mark.timeout(300)
def test_a_job_up_to_its_effect_with_a_wrong_vin_an_unmet_condition_a_stop_and_a_killed_page(
    tmp_path: Path, browser: Browser, open_page: OpenPage
) -> None:
    """One job by touch, with what goes wrong on such a day."""
    vin = PetrolCar(seed=1).vin
    with Stack(tmp_path) as stack:
        page = open_page(stack.page.url, expects=("400", "ERR_", "409"))
        page.get_by_label("VIN, from the body plate").fill(vin[:-1])
        page.get_by_label("throttle body removed, cleaned and refitted").check()
        page.get_by_role("button", name="Open the job").click()
        expect(page.locator(".error")).to_contain_text("A VIN has 17 characters.", timeout=STEP_MS)
        assert page.get_by_label("VIN, from the body plate").input_value() == vin[:-1]
        assert JobClient(stack.folder).jobs() == ()

        job = open_a_job(page, vin)
        answer_until(page, "Ready off, automatic stop and start switched off")
        expect(page.locator("#part-work .stamp")).to_have_text("done")
        expect(page.locator("#part-found .line")).to_contain_text("P2176")
        stack.act("pedal", percent=40)
        press(page)
        expect(page.locator("#live .missing")).to_contain_text("ccelerator pedal", timeout=STEP_MS)
        page.get_by_role("button", name="stop", exact=True).click()
        expect(page.locator("#part-outcome h2")).to_have_text("Stopped", timeout=STEP_MS)
        assert not any(isinstance(e.body, b.IntentWritten) for e in events(stack, job))

        stack.act("pedal", percent=0)
        expect(page.get_by_role("button", name="Go on")).to_be_visible(timeout=STEP_MS)
        press(page, "Go on")
        expect(page.locator("#part-next .ask")).to_contain_text("Change the condition", timeout=STEP_MS)
        last = page.locator("[data-question]").get_attribute("data-question") or ""
        press(page)
        wait_question(page, last, STEP_MS)
        stack.page.kill()
        expect(page.locator("#cut")).to_be_visible(timeout=STEP_MS)
        stack.page.start()
        answer_until(page, "Start now", last)
        page.locator("button.hold").click(delay=300)
        assert not any(isinstance(e.body, b.IntentWritten) for e in events(stack, job))
        press(page)
        expect(page.locator(".run-now .state")).to_have_text("stored", timeout=STEP_MS)
        last = answer_until(page, "Switch the key off")
        press(page, "stop here")  # ends the run; the job asks what to do about it
        wait_question(page, last, STEP_MS)
        press(page, "stop here")
        expect(page.locator("#part-outcome h2")).to_have_text("Stopped", timeout=STEP_MS)

        found = events(stack, job)
        assert sum(isinstance(e.body, b.IntentWritten) for e in found) == 1
        assert {a.actor for a in found if isinstance(a.body, b.QuestionAnswered) and a.body.answer.by} == {"M. Okafor"}
        ends = [e.body.end for e in found if isinstance(e.body, b.RunEnded)]
        assert ends == [RunEnd.STOPPED, RunEnd.STOPPED]
        expect(page.locator("main")).to_have_attribute("data-sequence", str(found[-1].sequence), timeout=WAIT_MS)
        shown = page.locator("#part-record .line").inner_text()
        assert shown == f"{len(found)} events so far"
        wait_until(lambda: JobClient(stack.folder).is_signed(job))


@pytest.mark.full
@pytest.mark.timeout(1800)
@pytest.mark.parametrize("how", ["touch", "keys"])
def test_the_whole_job_from_vin_to_signed_record(
    tmp_path: Path, browser: Browser, open_page: OpenPage, how: str
) -> None:
    """By touch alone and by the keyboard alone, with an unmet condition, a stop, a hand-over and a *cannot tell*."""
    with Stack(tmp_path) as stack:
        page = open_page(stack.page.url, *(SIZES[0] if how == "touch" else SIZES[1]), has_touch=how == "touch")
        page.emulate_media(color_scheme="light" if how == "touch" else "dark")
        hands: Hands = Fingers(page) if how == "touch" else Keys(page)
        tour = Tour(stack, page, hands)
        tour.work()
        assert len(tour.asked) >= 30
        expect(page.locator("#part-outcome h2")).to_have_text("Released")
        state = JobClient(stack.folder).watch(tour.job).state
        learn = next(r for r in reversed(state.runs.values()) if r.started.function == "throttle-stop-learn")
        assert [a.verdict for a in learn.earlier] == [Verdict.CANNOT_TELL]
        assert {r.verdict for r in last_runs(state) if r.verdict} == {Verdict.PASS}
        assert [(m.how, m.by) for m in state.control] == [
            (ControlHow.TAKEN, "M. Okafor"),
            (ControlHow.HANDED_OVER, SECOND),
        ]
        found = events(stack, tour.job)
        stops = [e for e in found if isinstance(e.body, b.JobStopped)]
        assert [e.body.reason for e in stops] == ["stopped-by-person"]
        asked = {
            e.body.question.id for e in found if isinstance(e.body, b.QuestionAsked) and e.sequence > stops[0].sequence
        }
        named = {a.by for q, a in state.questions.values() if a is not None and q.id in asked}
        assert {"M. Okafor", SECOND} <= named
        with page.expect_download() as download:
            hands.press(page.locator("#part-next a", has_text="Signed record"))
        assert not verify(Path(download.value.path())).findings
        report = page.request.get(f"{stack.page.url}job/{tour.job}/report.pdf")
        assert report.body().startswith(b"%PDF-")
        followed = page.locator("main").inner_text()
        page.reload()
        fresh = page.locator("main").inner_text()
        assert re.sub(r"\s+", " ", followed) == re.sub(r"\s+", " ", fresh)
        page.close()  # before its server ends
