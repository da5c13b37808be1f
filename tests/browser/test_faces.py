"""The faces beside the sheet, used as at a car: the book, another order, a rehearsal, documents, two devices."""

from __future__ import annotations

import base64
import io
import random
import socket
import time
from contextlib import ExitStack
from typing import Literal
from urllib.parse import urlsplit

import msgspec
import pytest
from playwright.sync_api import Page, expect

from asleft.event import body as b
from asleft.event.fold import fold
from asleft.job.sequences import run_sequence
from asleft.model.control import ControlHow
from asleft.model.question import Question, QuestionKind
from asleft.run.cues import cues
from kit.chosen import few
from kit.events import opened, say
from kit.evidence import HAND, TESTER, evidence_job
from kit.gallery import bodies, cut_after, free_job, whole_job
from kit.processes import wait_until

from .conftest import WAIT_MS, Bench, Gallery, OpenPage
from .test_looks import AXE, RULES, SIZES, TARGETS, violations
from .test_questions import at_sequence, ready

#: Page -> its address in the gallery.
PAGES = {
    "verdict": f"job/G-evidence/verdict/{TESTER}",
    "order": "job/G-closed/order?order=idle-relearn,throttle-stop-learn,planned-clear,key-cycles,as-left",
    "book": "book?words=idle&make=Aldra&model=1.6&year=2019",
    "procedure": "book/idle-relearn-aldra",
    "typing": "book/throttle-stop-learn-aldra/check",
    "quick": "book/quick",
    "rehearse": "book/idle-relearn-aldra/rehearse",
    "elements": "help/elements",
}


@pytest.mark.parametrize("name", few(PAGES, {"verdict", "order", "typing", "rehearse"}))
def test_no_violation_nothing_too_small_and_nothing_too_wide(gallery: Gallery, open_page: OpenPage, name: str) -> None:
    page = open_page(gallery.at(PAGES[name]))
    page.evaluate("document.querySelectorAll('details').forEach(d => d.open = true)")
    page.evaluate(AXE.read_text())
    assert violations(page, {"type": "tag", "values": RULES}) == []
    assert page.evaluate(TARGETS) == []
    page.emulate_media(color_scheme="dark")  # of all rules, colour is what the scheme changes
    assert violations(page, {"type": "rule", "values": ["color-contrast"]}) == []
    for width, height in SIZES:
        page.set_viewport_size({"width": width, "height": height})
        assert page.evaluate("document.documentElement.scrollWidth") <= width, width


# -- another order -----------------------------------------------------------------------------------------------------


def names(page: Page) -> list[str]:
    return [item.get_attribute("data-name") or "" for item in page.locator(".order li").all()]


def test_a_procedure_is_moved_by_keys_and_by_touch(gallery: Gallery, open_page: OpenPage) -> None:
    page = open_page(gallery.at("job/G-closed/order"), has_touch=True)
    best = names(page)
    expect(page.locator(".balance")).to_have_text("This is the best order.")
    page.locator(".order li").first.locator(".later").focus()
    page.keyboard.press("Alt+ArrowDown")
    expect(page.locator(".balance")).to_contain_text("cannot be worked", timeout=WAIT_MS)
    assert names(page) == [best[1], best[0], *best[2:]]
    focused = "document.activeElement.closest('li')?.dataset.name"
    assert page.evaluate(focused) == best[0], "the focus goes with what is moved"
    expect(page.locator(".conflicts")).to_contain_text("must come before")
    page.locator(f'.order li[data-name="{best[0]}"] .earlier').tap()
    expect(page.locator(".balance")).to_have_text("This is the best order.", timeout=WAIT_MS)
    assert names(page) == best
    page.reload()
    assert names(page) == best


def test_another_order_is_taken_by_keys(bench: Bench, open_page: OpenPage) -> None:
    """Moved, named, reasoned: the engine is told once, and the sheet is where it leads."""
    bench.write(*bodies(free_job()))
    page = open_page(f"{bench.url}/order")
    page.locator(".order li").nth(1).locator(".later").focus()
    page.keyboard.press("Enter")
    take = page.get_by_role("button", name="Take this order")
    expect(take).to_be_visible(timeout=WAIT_MS)
    assert page.evaluate("document.documentElement.scrollWidth") <= 820
    page.get_by_label("Why this order").fill("the windscreen waits <b>")
    page.keyboard.press("Enter")
    page.wait_for_url("**#part-plan", timeout=WAIT_MS)
    (told,) = bench.told("choose-order")
    assert (told["by"], told["reason"]) == ("M. Okafor", "the windscreen waits <b>")
    assert told["order"][1:3] == ["idle-relearn", "rain-light-sensor"]


# -- the book ----------------------------------------------------------------------------------------------------------


def test_a_quick_procedure_by_form(bench: Bench, open_page: OpenPage) -> None:
    page = open_page(bench.page.url + "book", expects=("400",))
    page.get_by_role("link", name="Write a quick procedure").click()
    page.get_by_label("Function").select_option("idle-relearn")
    page.get_by_label("Page", exact=True).fill("12-40")
    page.get_by_label("Entry conditions, a line each").fill("coolant 80-100 degC\nP, parking brake on")
    page.get_by_label("The act, in a line").fill("start it on the other tester")
    page.get_by_label("What then is to be seen").fill("idle comes down")
    page.get_by_label("Limits, a line each").fill("idle 750 +/- 50 V")
    page.get_by_label("Your initials").fill("M. O.")
    page.get_by_role("button", name="Show how it is read").click()
    expect(page.locator(".understood")).to_contain_text("measured coolant 80-100 degC", timeout=WAIT_MS)
    expect(page.locator(".understood")).to_contain_text("declared P, parking brake on")
    expect(page.locator(".understood")).to_contain_text("idle 750 +/- 50 V")  # no limit of a speed: it stays words
    page.get_by_label("Limits, a line each").fill("idle 750 +/- 50 rpm")
    page.get_by_role("button", name="Keep it").click()
    expect(page.locator(".taken")).to_contain_text("valid at once", timeout=WAIT_MS)
    assert page.locator("h1 .level").inner_text() == "quick"
    assert page.locator("#h-beside").count() == 1


def test_what_is_wrong_is_said_while_it_is_typed(bench: Bench, open_page: OpenPage) -> None:
    page = open_page(bench.page.url + "book/idle-proof")
    page.locator("#h-change").click()
    page.get_by_role("button", name="Copy it into our own").click()
    page.locator("#f-criteria").wait_for()
    page.evaluate("document.querySelectorAll('details').forEach(d => d.open = true)")
    page.evaluate(AXE.read_text())
    assert violations(page, {"type": "tag", "values": RULES}) == []
    assert page.evaluate(TARGETS) == []
    for width, height in SIZES:
        page.set_viewport_size({"width": width, "height": height})
        assert page.evaluate("document.documentElement.scrollWidth") <= width, width
    field = page.locator("[name='v:revision']")
    field.press_sequentially("x")
    expect(page.locator("#draft .error")).to_contain_text("1 place to mend", timeout=WAIT_MS)
    expect(field).to_have_attribute("aria-invalid", "true")
    field.fill("7")
    expect(page.locator("#draft .taken")).to_contain_text("Usable; no number changes", timeout=WAIT_MS)
    expect(field).not_to_have_attribute("aria-invalid", "true")
    page.get_by_role("button", name="Keep the edit").click()
    expect(page.locator(".taken")).to_contain_text("revision went up", timeout=WAIT_MS)
    expect(page.locator("main")).to_contain_text("Revision 7")


# -- a sequence by hand --------------------------------------------------------------------------------------------

COUNT = """() => { window.tones = 0; window.frames = 0;
  const make = AudioContext.prototype.createOscillator;
  AudioContext.prototype.createOscillator = function () { window.tones += 1; return make.call(this); };
  const ask = window.requestAnimationFrame;
  window.requestAnimationFrame = (call) => { window.frames += 1; return ask.call(window, call); }; }"""


@pytest.mark.parametrize(
    ("motion", "moves"), [("no-preference", True), pytest.param("reduce", False, marks=pytest.mark.full)]
)
def test_a_rehearsal_counts_in_sounds_and_moves_only_where_motion_is_wanted(
    gallery: Gallery, open_page: OpenPage, motion: Literal["no-preference", "reduce"], moves: bool
) -> None:
    page = open_page(gallery.at(PAGES["rehearse"]))
    page.emulate_media(reduced_motion=motion)
    page.reload()
    page.evaluate(COUNT)
    page.get_by_role("button", name="Begin").click()
    seen = page.evaluate(
        """() => new Promise((done) => { const seen = []; const now = document.querySelector('.beat-now');
           new MutationObserver(() => { seen.push(now.textContent); if (now.textContent === 'key on') done(seen); })
             .observe(now, { childList: true, characterData: true, subtree: true }); })"""
    )
    assert seen[-4:] == ["3", "2", "1", "key on"]
    expect(page.locator(".beat-next")).to_contain_text("then pedal to the floor in")
    assert page.evaluate("window.tones") >= 4
    assert (page.evaluate("window.frames") > 20) is moves
    page.get_by_role("button", name="End the rehearsal").click()
    expect(page.locator("#beats")).to_be_hidden()


def test_at_the_car_the_page_counts_with_the_engine(bench: Bench, open_page: OpenPage) -> None:
    events = bodies(evidence_job())
    begun = next(i for i, e in enumerate(events) if isinstance(e, b.RunProgress) and e.state == "acting") + 1
    bench.write(*events[:begun])
    step = run_sequence(fold(evidence_job()).runs[HAND], "sequence")
    assert step is not None
    page = open_page(bench.url)
    stands = {"step": 2, "of": 4, "share": 0.3, "remaining_s": 200.0, "by": "shop"}
    bench.engine.put("progress", {"run": HAND, "progress": stands})
    expect(page.locator("#progress")).to_contain_text("Step 2 of 4, about 3 min left", timeout=WAIT_MS)
    told = {"run": HAND, "step": "sequence", "cues": msgspec.to_builtins(cues(step)), "count_in_s": 3}
    shown_s = time.monotonic()
    bench.engine.put("sequence", told)
    expect(page.locator("#beats .beat-now")).to_have_text("key on", timeout=WAIT_MS)
    assert time.monotonic() - shown_s >= 3.0, "not before the count-in is over"
    expect(page.locator("#beats .beat-kind")).to_have_text("Counts now")
    bench.engine.put("sequence", {"run": HAND, "step": "sequence", "ended": "pedal up came 0.4 s too late"})
    expect(page.locator("#beats .beat-now")).to_have_text("pedal up came 0.4 s too late", timeout=WAIT_MS)
    page.get_by_role("button", name="pause before the next step").click()
    wait_until(lambda: bench.told("pause"))
    expect(page.locator("#error")).to_contain_text("Pauses before the next step.")


# -- a document --------------------------------------------------------------------------------------------------------


def large_photo() -> bytes:
    """A picture of noise: far larger than a form takes."""
    from PIL import Image

    chance = random.Random(1)
    out = io.BytesIO()
    Image.frombytes("RGB", (1100, 700), chance.randbytes(1100 * 700 * 3)).save(out, "PNG", compress_level=0)
    return out.getvalue()


def test_a_large_photo_is_made_smaller_and_attached(bench: Bench, open_page: OpenPage) -> None:
    photo = large_photo()
    assert len(photo) > 2_000_000
    choices = ("it gives no report", "stop here")
    bench.write(opened())
    bench.write(b.QuestionAsked("job", Question("q1", QuestionKind.TYPE, say("x", "Attach it"), choices, act="attach")))
    page = open_page(bench.url, expects=("409",))
    page.get_by_role("button", name="Attach it").click()
    expect(page.locator("#error")).to_contain_text("No document was chosen", timeout=WAIT_MS)
    page.get_by_label("Report or photo").set_input_files(
        {"name": "screen.png", "mimeType": "image/png", "buffer": photo}
    )
    page.get_by_role("button", name="Attach it").click()
    wait_until(lambda: bench.told("answer"))
    (kept,) = bench.told("attach")
    content = base64.b64decode(kept["content"])
    assert kept["name"] == "screen.png"
    assert content[:3] == b"\xff\xd8\xff"
    assert len(content) <= 600_000


# -- two devices, a slow watcher -----------------------------------------------------------------------------------


def test_two_devices_and_one_lease(bench: Bench, open_page: OpenPage) -> None:
    """Only the device that has control is offered the hold; the other may take over with a reason, and both see it."""
    bench.write(opened())
    first, second = open_page(bench.url), open_page(bench.url)
    name = {page: _device(page) for page in (first, second)}
    assert name[first] != name[second]
    bench.write(b.ControlMoved("M. Okafor", name[first], ControlHow.TAKEN))
    bench.ask("q1", QuestionKind.EFFECT)
    for page in (first, second):
        at_sequence(page, bench.sequence)
    expect(first.get_by_role("button", name="hold to done")).to_be_visible()
    expect(second.get_by_role("button", name="hold to done")).to_have_count(0)
    expect(second.locator("#part-next .ask")).to_contain_text("has control of this car")
    second.get_by_label("Why you take control over").fill("tablet 1 is flat")
    ready(second)
    second.get_by_role("button", name="Take control over").click()
    (told,) = wait_until(lambda: bench.told("take-control"))
    assert (told["device"], told["reason"]) == (name[second], "tablet 1 is flat")
    moved = b.ControlMoved(
        "M. Okafor", name[second], ControlHow.TAKEN_OVER, "M. Okafor", name[first], "tablet 1 is flat"
    )
    bench.write(moved)
    for page in (first, second):
        at_sequence(page, bench.sequence)
    expect(second.get_by_role("button", name="hold to done")).to_be_visible()
    expect(first.get_by_role("button", name="hold to done")).to_have_count(0)


def _device(page: Page) -> str:
    return next(c["value"] for c in page.context.cookies() if c["name"] == "asleft_device")


def test_a_watcher_that_reads_nothing_holds_nobody_up(bench: Bench, open_page: OpenPage) -> None:
    events = bodies(cut_after(whole_job(), b.ModuleTold, 2))
    bench.write(*events[:5])
    place = urlsplit(bench.url)
    asked = f"GET {place.path}/events?after=0 HTTP/1.1\r\nHost: {place.netloc}\r\nAccept: text/event-stream\r\n\r\n"
    with ExitStack() as stack:
        for _ in range(5):
            slow = stack.enter_context(socket.create_connection((place.hostname or "", place.port or 0)))
            slow.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
            slow.sendall(asked.encode())  # and never a byte is read
        page = open_page(bench.url)
        for n, body in enumerate(events[5:]):
            bench.write(body)
            bench.engine.put("reading:engine-speed", _reading(n))
        at_sequence(page, len(events))
        bench.write(b.Noted(say("x", "seen by whoever reads")))
        expect(page.locator("#part-notes")).to_contain_text("Seen by whoever reads", timeout=WAIT_MS)


def _reading(n: int) -> dict[str, object]:
    return {"signal": "engine-speed", "value": 700.0 + n, "unit": "rpm", "time_s": float(n)}
