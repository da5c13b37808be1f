"""The demo job from VIN to report, worked on the page by hands, with what goes wrong on such a day: an entry condition
that is not met, a stop, a hand-over, a proof that cannot tell and is measured once more.

At every question the page is looked at in both sizes and both schemes; pictures go where ``ASLEFT_SHOTS`` says.
"""

from __future__ import annotations

import os
from collections.abc import Collection
from pathlib import Path
from typing import Any

from playwright.sync_api import Page, expect

from asleft.bench.cars.petrol import PetrolCar
from kit.drive import wait_question
from kit.hands import Hands
from kit.processes import Stack

SIZES = ((820, 1180), (1280, 800))
WAIT_MS = 120_000
SECOND = "A. Novak"
AGAIN = "measure once more, something was changed"
#: What is where it should not be: wider than the screen, or a button of the question out of sight.
LOST = """() => [document.documentElement.scrollWidth > innerWidth ? 'wider than the screen' : '',
  ...[...document.querySelectorAll('#part-next .question:not(.pause) .buttons button')]
    .filter((b) => b.checkVisibility() && b.getBoundingClientRect().bottom > innerHeight + 1)
    .map((b) => 'out of sight: ' + b.textContent)]
  .filter(Boolean)"""


class Tour:
    """One job worked on one page.

    Args: leave: procedures, by the beginning of their name, that are left open: the shorter tour.
    Attributes: asked: questions in order.
    """

    def __init__(self, stack: Stack, page: Page, hands: Hands, leave: Collection[str] = ()) -> None:
        self._stack = stack
        self._page = page
        self._hands = hands
        self._leave = leave
        self._shots = os.environ.get("ASLEFT_SHOTS", "")
        self._own: Any = page.viewport_size
        self._dark = page.evaluate("matchMedia('(prefers-color-scheme: dark)').matches")
        self._done: set[str] = set()
        self.asked: list[str] = []
        self.job = ""

    def work(self) -> None:
        """All of it."""
        self._open()
        last = ""
        while last := wait_question(self._page, last, WAIT_MS):
            self._look()
            self._answer(self._page.locator("#part-next .ask").first.inner_text())
            assert len(self.asked) < 120, self.asked[-5:]
        self._look()

    # -- what a technician does ----------------------------------------------------------------------------------------

    def _open(self) -> None:
        page, hands = self._page, self._hands
        hands.write(page.get_by_label("VIN, from the body plate"), PetrolCar(seed=1).vin)
        for field, text in (
            ("Make", "Aldra"),
            ("Model", "1.6"),
            ("Year", "2019"),
            ("Find by words", "throttle removed"),
        ):
            hands.write(page.get_by_label(field), text)
        hands.press(page.get_by_label("throttle body removed, cleaned and refitted"))
        hands.press(page.get_by_role("button", name="Open the job"))
        page.wait_for_url("**/job/*", timeout=WAIT_MS)
        self.job = page.url.rsplit("/", 1)[1]

    def _answer(self, text: str) -> None:
        self.asked.append(text)
        if self._first("hand over", self._page.locator("details.control").count() > 0):
            self._hand_over()
        if any(text.startswith(f"Read before you begin: {name}") for name in self._leave):
            self._press("stop here")
        elif "ended after" in text and any(text.casefold().startswith(n.casefold()) for n in self._leave):
            self._press("leave it open")
        elif self._first("condition", "automatic stop and start switched off" in text):
            self._unmet_then_stopped()
        elif self._first("sweep", text.startswith("Press the accelerator slowly")):
            self._hands.press(self._page.locator("#part-next label.bench input"))  # nobody presses the pedal
            self._press()
        elif self._first("retest", "The proof says CANNOT TELL" in text):
            self._press(AGAIN)
        else:
            self._press()

    def _first(self, name: str, now: bool) -> bool:
        """Whether this is the first time for something."""
        if not now or name in self._done:
            return False
        self._done.add(name)
        return True

    def _press(self, answer: str = "") -> None:
        page = self._page
        page.wait_for_function("() => !document.querySelector('#part-next .buttons')?.inert")
        form = page.locator("#part-next form.question").first
        field = form.locator("input[name=text]")
        if field.count() and not answer:
            self._hands.write(field, "the pedal is pressed now")
        button = form.locator(".buttons button")
        button = button.get_by_text(answer, exact=True).first if answer else button.first
        if "hold" in (button.get_attribute("class") or ""):
            self._hands.hold(button)
        else:
            self._hands.press(button)

    def _unmet_then_stopped(self) -> None:
        """Something on the pedal: the gate stays shut and says why; the technician stops, and goes on later."""
        page = self._page
        self._stack.act("pedal", percent=40)
        self._press()
        expect(page.locator("#live .missing")).to_contain_text("ccelerator pedal", timeout=WAIT_MS)
        self._look()
        self._hands.press(page.get_by_role("button", name="stop", exact=True))
        expect(page.locator("#part-outcome h2")).to_have_text("Stopped", timeout=WAIT_MS)
        self._look()
        self._stack.act("pedal", percent=0)
        self._hands.press(page.get_by_role("button", name="Go on"))

    def _hand_over(self) -> None:
        """This device goes to somebody else, who confirms from then on."""
        page, hands = self._page, self._hands
        hands.press(page.locator("details.control summary"))
        hands.write(page.get_by_label("This device goes to"), SECOND)
        hands.press(page.get_by_role("button", name="Hand it over"))
        expect(page.locator("details.control summary")).to_contain_text(SECOND, timeout=WAIT_MS)

    # -- looking -------------------------------------------------------------------------------------------------------

    def _look(self) -> None:
        """In every size and scheme; then back to the own ones."""
        page = self._page
        for width, height in SIZES:
            page.set_viewport_size({"width": width, "height": height})
            lost = page.evaluate(LOST)
            assert not lost, (self.asked[-1:], width, lost)
            for scheme in ("light", "dark") if self._shots else ():
                page.emulate_media(color_scheme=scheme)  # type: ignore[arg-type]
                name = f"{len(self.asked):03d}-{len(self._done)}-{width}-{scheme}.png"
                page.screenshot(path=Path(self._shots) / name)
        page.set_viewport_size(self._own)
        if self._shots:
            page.emulate_media(color_scheme="dark" if self._dark else "light")
