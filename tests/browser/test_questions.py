"""Questions and news on the page: held, typed, answered elsewhere, cut off and back. A stand-in is the engine; the
journal, the page's process and the browser are the real ones.
"""

from __future__ import annotations

import re

import msgspec
import pytest
from playwright.sync_api import Page, expect

from asleft.event import body as b
from asleft.model.condition import Condition, ConditionKind, ConditionResult, ConditionState
from asleft.model.control import ControlHow
from asleft.model.question import Answer, QuestionKind
from asleft.model.verdict import StepOutcome
from kit.events import opened, say, started
from kit.gallery import bodies, cut_after, whole_job
from kit.processes import wait_until

from .conftest import WAIT_MS, Bench, OpenPage


def at_sequence(page: Page, sequence: int) -> None:
    """Wait until the page has shown everything up to this event."""
    expect(page.locator("main")).to_have_attribute("data-sequence", str(sequence), timeout=WAIT_MS)


def shown(page: Page) -> str:
    """The sheet as it stands, but for what a person folds and what is live."""
    html = page.evaluate("document.querySelector('main').innerHTML")
    bare = re.sub(r' open=""|<div id="live">.*?</div>\s*(?=<)', "", html, flags=re.S)
    return "\n".join(line.strip() for line in bare.splitlines() if line.strip())


def middle(page: Page, text: str) -> tuple[float, float]:
    box = page.get_by_role("button", name=text).bounding_box()
    assert box is not None
    return box["x"] + box["width"] / 2, box["y"] + box["height"] / 2


def ready(page: Page) -> None:
    """Buttons of a new question take a press after a moment."""
    page.wait_for_function("() => !document.querySelector('#part-next .buttons').inert")


def test_a_tap_does_not_start_an_effect_and_holding_does(bench: Bench, open_page: OpenPage) -> None:
    bench.write(opened())
    bench.ask("q1", QuestionKind.EFFECT)
    page = open_page(bench.url, has_touch=True)
    page.get_by_role("button", name="hold to done").tap()
    x, y = middle(page, "hold to done")
    page.mouse.click(x, y, delay=200)
    page.mouse.move(x, y)
    page.mouse.down()
    page.wait_for_timeout(300)
    page.mouse.move(x, y - 200)
    page.wait_for_timeout(1200)  # slipped off: nothing, however long
    page.mouse.up()
    assert bench.told("answer") == []
    page.mouse.move(x, y)
    page.mouse.down()
    wait_until(lambda: bench.told("answer"))
    page.mouse.up()
    page.wait_for_timeout(300)
    assert [(t["question"], t["text"], t["by"]) for t in bench.told("answer")] == [("q1", "done", "M. Okafor")]


@pytest.mark.parametrize("how", ["finger", "key"])
def test_what_is_let_go_of_does_not_press_what_stands_there_by_then(
    bench: Bench, open_page: OpenPage, how: str
) -> None:
    """A finger that stays longer than an effect wants: meanwhile *stop* and *pause* came into the button's place."""
    bench.write(opened(), started())
    bench.ask("q1", QuestionKind.EFFECT)
    page = open_page(bench.url, has_touch=True)
    hold = page.get_by_role("button", name="hold to done")
    x, y = middle(page, "hold to done")
    touch = page.context.new_cdp_session(page)
    if how == "finger":
        touch.send("Input.dispatchTouchEvent", {"type": "touchStart", "touchPoints": [{"x": x, "y": y}]})
    else:
        hold.focus()
        page.keyboard.down("Space")
    wait_until(lambda: bench.told("answer"))
    bench.answered("q1")
    pause = page.get_by_role("button", name="pause before the next step")
    expect(pause).to_be_visible(timeout=WAIT_MS)
    if how == "finger":
        page.wait_for_function("() => [...document.querySelectorAll('#part-next .buttons')].every((b) => !b.inert)")
        touch.send("Input.dispatchTouchEvent", {"type": "touchEnd", "touchPoints": []})
    else:
        pause.focus()
        page.keyboard.up("Space")
    page.wait_for_timeout(300)
    assert {t["command"] for t in bench.engine.told} == {"answer"}
    page.get_by_role("button", name="stop", exact=True).tap()  # and the next press counts
    wait_until(lambda: bench.told("stop"))


def test_the_keyboard_alone_answers_and_holds(bench: Bench, open_page: OpenPage) -> None:
    """Tab to what is asked, enter answers; an effect wants its key held; focus goes to the next question."""
    bench.write(opened())
    bench.ask("q1", QuestionKind.CONFIRM)
    page = open_page(bench.url)
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.textContent") == "To the content"
    for _ in range(40):
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.textContent") == "done":
            break
    page.keyboard.press("Enter")
    wait_until(lambda: bench.told("answer"))
    bench.answered("q1")
    bench.ask("q2", QuestionKind.EFFECT)
    at_sequence(page, bench.sequence)
    assert page.evaluate("document.activeElement.textContent") == "Question q2"
    ready(page)
    while page.evaluate("document.activeElement.textContent") != "hold to done":
        page.keyboard.press("Tab")
    page.keyboard.press("Space")
    page.keyboard.press("Enter")
    assert len(bench.told("answer")) == 1
    page.keyboard.down("Space")
    wait_until(lambda: len(bench.told("answer")) == 2)
    page.keyboard.up("Space")
    assert bench.told("answer")[1]["question"] == "q2"


def test_a_second_press_does_not_answer_the_next_question(bench: Bench, open_page: OpenPage) -> None:
    bench.write(opened())
    bench.ask("q1")
    page = open_page(bench.url)
    x, y = middle(page, "done")
    page.mouse.click(x, y)
    wait_until(lambda: bench.told("answer"))
    page.evaluate(
        """() => { const now = () => document.querySelector('#part-next [data-question=q2]');
                   const seen = () => now() && (window.wasInert = now().querySelector('.buttons').inert);
                   new MutationObserver(seen).observe(document.querySelector('#part-next'),
                     { childList: true, subtree: true, attributes: true }); }"""
    )
    bench.answered("q1")
    bench.ask("q2")
    page.locator("[data-question=q2]").wait_for()
    assert page.evaluate("window.wasInert") is True
    ready(page)
    page.mouse.click(*middle(page, "done"))
    wait_until(lambda: len(bench.told("answer")) == 2)


def test_a_question_is_not_taken_from_somebody_who_types(bench: Bench, open_page: OpenPage) -> None:
    bench.write(opened())
    bench.ask("q1", QuestionKind.TYPE)
    page = open_page(bench.url, expects=("409",))
    field = page.get_by_label("As the manual prints it")
    field.fill("0x5A")
    bench.write(b.Noted(say("x", "a note that changes the sheet")))
    at_sequence(page, bench.sequence)
    assert field.input_value() == "0x5A"
    bench.answered("q1", "0x5A31")
    bench.ask("q2")
    at_sequence(page, bench.sequence)
    assert field.input_value() == "0x5A"
    page.get_by_role("button", name="Take it").click()
    expect(page.locator("#error")).to_contain_text("no longer open", timeout=WAIT_MS)
    assert bench.told("answer") == []
    assert field.input_value() == "0x5A"
    page.get_by_role("button", name="Show what is asked now").click()
    expect(page.locator("#part-next .ask")).to_have_text("Question q2")


def test_two_pages_and_one_question(bench: Bench, open_page: OpenPage) -> None:
    """The second to press is told that it is no longer open, nothing is done at the car twice, and it sees what is."""
    bench.write(opened())
    bench.ask("q1", act="key-off")
    first, second = open_page(bench.url), open_page(bench.url, expects=("409", "ERR_FAILED"))
    second.route("**/events*", lambda route: route.abort())
    second.reload()
    first.get_by_role("button", name="done").click()
    wait_until(lambda: bench.told("answer"))
    bench.answered("q1")
    bench.ask("q2")
    expect(first.locator("#part-next .ask")).to_have_text("Question q2", timeout=WAIT_MS)
    assert second.locator("#part-next .ask").inner_text() == "Question q1"
    assert second.locator("#cut").is_visible()
    second.get_by_role("button", name="done").click()
    expect(second.locator("#part-next .ask")).to_have_text("Question q2", timeout=WAIT_MS)
    assert len(bench.told("answer")) == 1
    assert len(bench.told("bench-act")) == 1


def test_killed_and_started_again_the_page_has_every_event_once(bench: Bench, open_page: OpenPage) -> None:
    """The page's process is killed in the middle of a job; what happened meanwhile comes by Last-Event-ID."""
    events = bodies(cut_after(whole_job(), b.ModuleTold, 2))
    half = len(events) // 2
    bench.write(*events[:5])
    page = open_page(bench.url, expects=("ERR_",))
    asked: list[str] = []
    page.on("request", lambda r: asked.append(r.all_headers().get("last-event-id", "")) if "/events" in r.url else None)
    bench.write(*events[5:half])
    at_sequence(page, half)
    bench.page.kill()
    expect(page.locator("#cut")).to_be_visible(timeout=WAIT_MS)
    bench.write(*events[half:-3])
    bench.page.start()
    at_sequence(page, len(events) - 3)
    bench.write(*events[-3:])
    at_sequence(page, len(events))
    expect(page.locator("#cut")).to_be_hidden(timeout=WAIT_MS)
    assert str(half) in asked
    followed = shown(page)
    page.reload()
    assert followed == shown(page)


def test_an_open_form_still_counts_after_the_page_was_started_again(bench: Bench, open_page: OpenPage) -> None:
    bench.write(opened())
    bench.ask("q1")
    page = open_page(bench.url, expects=("ERR_",))
    bench.page.kill()
    page.get_by_role("button", name="done").click()
    expect(page.locator("#error")).to_contain_text("does not answer", timeout=WAIT_MS)
    bench.page.start()
    expect(page.locator("#cut")).to_be_hidden(timeout=WAIT_MS)
    page.get_by_role("button", name="done").click()
    wait_until(lambda: bench.told("answer"))


def test_after_network_loss_the_page_catches_up(bench: Bench, open_page: OpenPage) -> None:
    events = bodies(cut_after(whole_job(), b.NeedsFound))
    bench.write(*events[:6])
    page = open_page(bench.url, expects=("ERR_",))
    at_sequence(page, 6)
    page.context.set_offline(True)
    page.evaluate("dispatchEvent(new Event('offline'))")
    bench.write(*events[6:])
    page.context.set_offline(False)
    at_sequence(page, len(events))
    followed = shown(page)
    page.reload()
    assert followed == shown(page)


def test_what_is_in_hand_is_kept_in_sight_as_it_grows_but_not_against_the_technician(
    bench: Bench, open_page: OpenPage
) -> None:
    events = bodies(cut_after(whole_job(), b.SamplesTaken, 6))
    planned = next(i for i, body in enumerate(events) if isinstance(body, b.PlanMade)) + 1
    bench.write(*events[: planned - 1])
    page = open_page(bench.url)
    at_sequence(page, planned - 1)
    for body in events[planned - 1 :]:
        bench.write(body)
    at_sequence(page, len(events))
    page.wait_for_function("() => Math.abs(document.querySelector('#part-runs').getBoundingClientRect().y - 80) < 45")
    page.mouse.move(300, 300)
    page.mouse.wheel(0, -2000)
    page.wait_for_function("() => scrollY === 0")
    bench.write(b.StepStarted("throttle-stop-learn-1", "more", say("x", "more")))
    at_sequence(page, bench.sequence)
    assert page.evaluate("scrollY") == 0


def test_nothing_jumps_and_what_was_opened_stays_open(bench: Bench, open_page: OpenPage) -> None:
    """A part that changes below a finger leaves everything above where it was, and what a person opened open."""
    bench.write(*bodies(cut_after(whole_job(), b.PlanMade)))
    page = open_page(bench.url)
    page.locator("#part-received > details > summary").click()
    page.locator("#m-as-received-engine > summary").click()
    module = page.locator("#m-as-received-engine > summary")
    module.scroll_into_view_if_needed()
    before = module.bounding_box()
    handle = module.element_handle()
    bench.write(started(), *(b.StepStarted("run-1", f"s{i}", say("x", f"step {i}")) for i in range(6)))
    bench.write(*(b.StepStopped("run-1", f"s{i}", StepOutcome.DONE, 1.0, say("x", "done")) for i in range(6)))
    at_sequence(page, bench.sequence)
    assert page.locator("#m-as-received-engine").get_attribute("open") is not None
    assert module.bounding_box() == before
    assert handle is not None
    assert handle.evaluate("e => e.isConnected")


def test_a_device_that_was_handed_over_asks_the_next_person(bench: Bench, open_page: OpenPage) -> None:
    """The open page shows itself to the new name at once: not *somebody else has control*, on the same tablet."""
    bench.write(opened(), started())
    page = open_page(bench.url)
    device = next(c["value"] for c in page.context.cookies() if c["name"] == "asleft_device")
    bench.write(b.ControlMoved("M. Okafor", device, ControlHow.TAKEN))
    bench.ask("q1", QuestionKind.EFFECT)
    fold = page.locator("details.control summary")
    expect(fold).to_contain_text("M. Okafor has control on this device", timeout=WAIT_MS)
    fold.click()
    page.get_by_label("This device goes to").fill("A. Novak")
    page.get_by_role("button", name="Hand it over").click()
    wait_until(lambda: bench.told("hand-over"))
    bench.write(b.ControlMoved("A. Novak", device, ControlHow.HANDED_OVER, "M. Okafor", device))
    expect(fold).to_contain_text("A. Novak has control on this device", timeout=WAIT_MS)
    bench.answered("q1")
    bench.ask("q2", QuestionKind.EFFECT)
    expect(page.locator("#part-next .ask")).to_have_text("Question q2", timeout=WAIT_MS)
    expect(page.get_by_role("button", name="hold to done")).to_be_visible()
    expect(page.locator(".who summary")).to_have_text("answered by A. Novak")


def test_a_name_given_once_stays_for_the_next_question(bench: Bench, open_page: OpenPage) -> None:
    bench.write(opened())
    bench.ask("q1")
    page = open_page(bench.url)
    page.locator(".who > summary").click()
    page.get_by_label("Your name").fill("A. Novak")
    page.get_by_role("button", name="done").click()
    wait_until(lambda: bench.told("answer"))
    bench.answered("q1")
    bench.ask("q2")
    expect(page.locator("#part-next .ask")).to_have_text("Question q2", timeout=WAIT_MS)
    expect(page.locator(".who summary")).to_have_text("answered by A. Novak", timeout=WAIT_MS)


CONDITION = Condition(
    "speed", "engine off, key on", ConditionKind.AT_MOST, "engine-speed", high=0.0, unit="rpm", hold_s=2
)


def test_entry_conditions_are_shown_as_they_are_measured(bench: Bench, open_page: OpenPage) -> None:
    """What is missing stands in words with its reason; what is no longer measured is not shown as live."""
    bench.write(opened())
    bench.write(b.RunStarted("run-1", "f", "p", "Learn", "by-wire", "", "", (CONDITION,)))
    bench.write(b.StepStarted("run-1", "entry-conditions", say("x", "entry conditions")))
    page = open_page(bench.url)
    expect(page.locator("#part-next .ask")).to_have_text("Waiting until every entry condition holds.", timeout=WAIT_MS)
    why = say("x", "engine speed 750 rpm: at most 0 rpm")
    result = ConditionResult("speed", ConditionState.NOT_MET, 1.0, 750.0, "rpm", -750.0, 0.0, reason=why)
    bench.engine.put("conditions", {"run": "run-1", "gate": "closed", "results": [msgspec.to_builtins(result)]})
    live = page.locator("#live")
    expect(live.locator(".missing")).to_contain_text("engine speed 750 rpm: at most 0 rpm", timeout=WAIT_MS)
    assert live.locator("svg").count() == 1
    expect(live).to_be_empty(timeout=WAIT_MS)  # nothing was written down yet, and nothing is measured any more


def test_without_script_the_question_can_be_answered_and_the_job_stopped(bench: Bench, open_page: OpenPage) -> None:
    bench.write(opened())
    bench.ask("q1", act="key-off")
    page = open_page(bench.url, java_script_enabled=False)

    def send(name: str) -> None:
        """Press, and wait until the page that answers the form is there."""
        with page.expect_navigation(timeout=WAIT_MS):
            page.get_by_role("button", name=name, exact=True).click()

    send("done")
    assert [t["text"] for t in bench.told("answer")] == ["done"]
    assert [t["act"] for t in bench.told("bench-act")] == ["key-off"]
    bench.answered("q1")
    page.goto(bench.url)
    send("stop")
    assert bench.told("stop")
    bench.ask("q2", QuestionKind.EFFECT)
    page.goto(bench.url)
    page.get_by_role("button", name="hold to done").click()
    assert len(bench.told("answer")) == 1  # an effect is meant twice: without script a tick takes the hold's place
    page.get_by_label("I mean it").check()
    send("hold to done")
    assert len(bench.told("answer")) == 2


def test_hostile_answers_are_text(bench: Bench, open_page: OpenPage) -> None:
    """Names and typed texts with tags, turned writing and great length: taken as text or refused in words."""
    bench.write(opened())
    bench.ask("q1", QuestionKind.TYPE)
    page = open_page(bench.url, expects=("409",))
    nasty = "<img src=x onerror=\"document.title='owned'\">\u202e"
    page.get_by_label("As the manual prints it").fill(nasty)
    page.locator(".who > summary").click()
    page.get_by_label("Your name").fill(nasty)
    page.get_by_role("button", name="Take it").click()
    (told,) = wait_until(lambda: bench.told("answer"))
    assert told["text"] == nasty
    bench.write(b.QuestionAnswered("job", Answer("q1", nasty, nasty)), b.Noted(say("x", "{n}", n=nasty)))
    bench.ask("q2", text=nasty)
    expect(page.locator("#part-next .ask")).to_have_text(nasty, timeout=WAIT_MS)
    page.reload()
    assert page.locator(".who summary").inner_text() == f"answered by {nasty}"
    assert page.title() == f"Job {bench.journal.job}"
    page.evaluate("document.querySelector('input[name=by]').value = 'W'.repeat(5000)")
    page.get_by_role("button", name="done").click()
    expect(page.locator("#error")).to_contain_text("too long", timeout=WAIT_MS)
