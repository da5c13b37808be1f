"""A technician's hands on the page: fingers only, or the keyboard only. Nothing is pressed in another way.

Example::

    hands = Fingers(page)
    hands.press(page.get_by_role("button", name="Open the job"))
    hands.hold(page.locator("button.hold"))
"""

from __future__ import annotations

from typing import Protocol

from playwright.sync_api import Locator, Page

HOLD_MS = 1300


class Hands(Protocol):
    """What hands can do on a page."""

    def press(self, what: Locator) -> None:
        """Press a button, tick a box, open a fold, follow a link."""
        ...

    def write(self, field: Locator, text: str) -> None:
        """Write into a field, in place of what is there."""
        ...

    def hold(self, button: Locator) -> None:
        """Hold a button for as long as an effect wants."""
        ...


class Fingers:
    """Touch only: taps, and a finger that stays."""

    def __init__(self, page: Page) -> None:
        self._page = page
        self._link = page.context.new_cdp_session(page)

    def press(self, what: Locator) -> None:
        what.tap()

    def write(self, field: Locator, text: str) -> None:
        field.tap()
        field.clear()
        self._page.keyboard.insert_text(text)  # as a keyboard on the screen does

    def hold(self, button: Locator) -> None:
        button.scroll_into_view_if_needed()
        box = button.bounding_box()
        assert box is not None
        point = {"x": box["x"] + box["width"] / 2, "y": box["y"] + box["height"] / 2}
        self._link.send("Input.dispatchTouchEvent", {"type": "touchStart", "touchPoints": [point]})
        self._page.wait_for_timeout(HOLD_MS)
        self._link.send("Input.dispatchTouchEvent", {"type": "touchEnd", "touchPoints": []})


class Keys:
    """The keyboard only: tab until it is there, then space or enter."""

    def __init__(self, page: Page) -> None:
        self._page = page

    def _reach(self, what: Locator, most: int = 150) -> None:
        what.wait_for()
        for key in ("Tab", "Shift+Tab"):
            for _ in range(most):
                if what.evaluate("e => e === document.activeElement"):
                    return
                self._page.keyboard.press(key)
        raise AssertionError(f"no key leads to {what}")

    def press(self, what: Locator) -> None:
        self._reach(what)
        kind = what.evaluate("e => e.type === 'checkbox' || e.tagName === 'SUMMARY' ? 'Space' : 'Enter'")
        self._page.keyboard.press(kind)

    def write(self, field: Locator, text: str) -> None:
        self._reach(field)
        self._page.keyboard.press("Control+A")
        self._page.keyboard.insert_text(text)

    def hold(self, button: Locator) -> None:
        self._reach(button)
        self._page.keyboard.down("Space")
        self._page.wait_for_timeout(HOLD_MS)
        self._page.keyboard.up("Space")
