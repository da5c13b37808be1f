"""What every page must be, in every state: accessible, large enough, narrow enough, harmless, its own."""

from __future__ import annotations

from pathlib import Path

import pytest
from playwright.sync_api import Page

from kit.gallery import StandIn

from .conftest import Gallery, OpenPage, states

AXE = Path(__file__).parent / "vendor" / "axe-core-4.14.1.min.js"
RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]
STATES = (
    "received",
    "work",
    "choose",
    "gate",
    "effect",
    "cycle",
    "proof",
    "closed",
    "failed",
    "replayed",
    "hostile",
    "evidence",
)
#: States with the most on them, for each run; all of them in the long one.
TELLING = ("gate", "hostile", "evidence")
#: States that look like another one here: their elements are the same, so they are for the long run.
ALIKE = {"received", "work", "choose", "cycle", "proof", "failed", "replayed"}
FOLDED = {"today"}
SIZES = ((400, 800), (820, 1180), (1280, 800))
IN_HAND = {"closed", "failed", "replayed", "hostile", "evidence"}

TARGETS = """() => {
  const wanted = 'button, summary, .paper, .mark a, .where a, .result a, input:not([type=hidden]):not([type=checkbox])';
  const found = [...document.querySelectorAll(wanted + ', label.choice, .car')];
  return found.filter(e => e.checkVisibility()).map(e => [e.textContent.trim().slice(0, 30), e.getBoundingClientRect()])
    .filter(([, box]) => box.height > 0 && box.height < 47.5).map(([text, box]) => text + ' ' + box.height);
}"""


def test_the_states_are_those_of_the_gallery() -> None:
    assert set(STATES) == set(states())


def _open_everything(page: Page) -> None:
    page.evaluate("document.querySelectorAll('details').forEach(d => d.open = true)")


def violations(page: Page, rules: dict[str, object]) -> list[object]:
    result = page.evaluate("rules => axe.run(document, {runOnly: rules, resultTypes: ['violations']})", rules)
    return [(v["id"], [n["html"][:200] for n in v["nodes"]][:3]) for v in result["violations"]]


@pytest.mark.parametrize(
    "state", [pytest.param(s, marks=[pytest.mark.full] if s in ALIKE else []) for s in (*STATES, "today")]
)
def test_no_violation_of_wcag_22_aa(gallery: Gallery, engine: StandIn, open_page: OpenPage, state: str) -> None:
    """axe-core finds nothing with everything opened, light and dark; all targets have 48 px."""
    engine.job = "" if state in IN_HAND else f"G-{state}"
    for other in TELLING:
        gallery.url(other)  # so that today has jobs
    page = open_page(gallery.page.url if state == "today" else gallery.url(state))
    page.evaluate(AXE.read_text())
    if state in FOLDED:  # what is folded is hidden from the rules: everything opened shows more
        assert violations(page, {"type": "tag", "values": RULES}) == []
    _open_everything(page)
    assert violations(page, {"type": "tag", "values": RULES}) == []
    assert page.evaluate(TARGETS) == []
    page.emulate_media(color_scheme="dark")  # of all rules, colour is what the scheme changes
    assert violations(page, {"type": "rule", "values": ["color-contrast"]}) == []


@pytest.mark.parametrize(
    ("size", "looked_at"),
    [(size, TELLING) for size in SIZES] + [pytest.param(size, STATES, marks=pytest.mark.full) for size in SIZES],
)
def test_nothing_is_wider_than_the_screen_and_the_question_stays_in_sight(
    gallery: Gallery, engine: StandIn, open_page: OpenPage, size: tuple[int, int], looked_at: tuple[str, ...]
) -> None:
    page = open_page(gallery.page.url, *size)
    for state in looked_at:
        engine.job = "" if state in IN_HAND else f"G-{state}"
        page.goto(gallery.url(state))
        page.locator("#part-next .ask").wait_for()
        _open_everything(page)
        wide = page.evaluate("document.documentElement.scrollWidth")
        assert wide <= size[0], (state, wide)
        button = page.locator("#part-next button, #part-next .paper").last.bounding_box()
        assert button is not None
        assert button["y"] + button["height"] <= size[1] + 1, state


def test_what_is_in_hand_is_open_and_in_sight(gallery: Gallery, engine: StandIn, open_page: OpenPage) -> None:
    engine.job = "G-gate"
    page = open_page(gallery.url("gate"))
    opened = page.locator(".sheet-part > details[open]")
    assert opened.count() == 1
    assert page.locator("#part-runs > details[open]").count() == 1
    box = page.locator("#live svg").first.bounding_box()
    dock = page.locator(".dock").bounding_box()
    assert box is not None
    assert dock is not None
    assert 0 <= box["y"] < dock["y"]


def test_after_the_end_the_outcome_is_the_first_thing_seen(
    gallery: Gallery, engine: StandIn, open_page: OpenPage
) -> None:
    engine.job = ""
    page = open_page(gallery.url("closed"))
    outcome = page.locator("#part-outcome")
    assert outcome.locator("h2").inner_text() == "Not released"
    assert "idle relearn" in outcome.inner_text()
    box = outcome.bounding_box()
    assert box is not None
    assert box["y"] < 300
    assert page.locator(".sheet-part > details[open]").count() == 1  # the record, with its papers


def test_hostile_text_in_every_field_is_only_text(gallery: Gallery, engine: StandIn, open_page: OpenPage) -> None:
    engine.job = ""
    page = open_page(gallery.url("hostile"))
    _open_everything(page)
    assert page.title() == "Job G-hostile"
    assert page.locator("main script, main img").count() == 0
    assert "<script>document.title" in page.locator("main").inner_text()


def test_a_script_that_is_not_the_pages_own_does_not_run(
    gallery: Gallery, engine: StandIn, open_page: OpenPage
) -> None:
    page = open_page(gallery.page.url, expects=("Content Security Policy",))
    page.evaluate(
        """() => { const s = document.createElement('script'); s.textContent = "document.title = 'owned'";
                   document.body.append(s);
                   const i = new Image(); i.src = 'http://127.0.0.1:9/x.png'; document.body.append(i); }"""
    )
    assert page.title() == "Today"


def test_work_items_are_found_by_words(gallery: Gallery, engine: StandIn, open_page: OpenPage) -> None:
    engine.job = ""
    page = open_page(gallery.page.url)
    page.locator("#open-job > summary").click()
    page.get_by_label("Find by words").fill("throttle clean")
    shown = page.locator("#choices .choice:visible")
    assert {"throttle" in text and "clean" in text for text in shown.all_inner_texts()} == {True}
    page.get_by_label("Find by words").fill("no such work")
    assert page.locator("#none-found").is_visible()
