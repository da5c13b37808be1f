"""Plays the technician on the page: reads the open question, presses what a person would press."""

from __future__ import annotations

from collections.abc import Callable

from playwright.sync_api import Page, expect

HOLD_MS = 1300


def press(page: Page, answer: str = "") -> str:
    """Answer the open question with the first button, or with the one named; returns the question's text."""
    page.wait_for_function("() => !document.querySelector('#part-next .buttons')?.inert")
    form = page.locator("#part-next form.question:not(.busy)")
    text = form.locator(".ask").inner_text()
    button = form.locator("button", has_text=answer).first if answer else form.locator("button").first
    if "hold" in (button.get_attribute("class") or ""):
        box = button.bounding_box()
        assert box is not None
        page.mouse.move(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
        page.mouse.down()
        page.wait_for_timeout(HOLD_MS)
        page.mouse.up()
    else:
        button.click()
    return text


def wait_question(page: Page, last: str, timeout_ms: float = 60_000) -> str:
    """Wait for the next question, or for the job's end (returns the empty text)."""
    page.wait_for_function(
        """last => {
            const q = document.querySelector('#part-next form.question[data-question]');
            if (q) return q.dataset.question !== last;
            return /closed and signed/.test(document.querySelector('#part-next')?.textContent || '');
        }""",
        arg=last,
        timeout=timeout_ms,
    )
    found = page.locator("#part-next form.question[data-question]")
    return found.get_attribute("data-question") or "" if found.count() else ""


def whole_job(page: Page, on_question: Callable[[str], str] = lambda _text: "", most: int = 60) -> list[str]:
    """Work the job on the page to its end; ``on_question`` may name a button. Returns the questions in order."""
    asked: list[str] = []
    last = ""
    for _ in range(most):
        last = wait_question(page, last)
        if not last:
            expect(page.locator("#part-next")).to_contain_text("closed and signed")
            return asked
        text = page.locator("#part-next .ask").first.inner_text()
        asked.append(text)
        press(page, on_question(text))
    raise AssertionError(f"the job did not end within {most} questions: {asked[-3:]}")
