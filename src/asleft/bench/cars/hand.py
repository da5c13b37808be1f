"""The driver's hand and foot, with the slips they make: too early, too late, too short, half, once more, bounced.

Acts of the car go through here; without a slip they happen as asked. What is to happen later is set on the car's clock.
Slips left unfinished are not part of a saved state.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

#: Sets something for later: called with (delay in s, what to do).
Later = Callable[[float, Callable[[], None]], None]


@dataclass
class Slips:
    """Slips of the hand; 0 or False: none.

    Attributes:
        late_s: every act comes this much later. partial: a full press reaches this share of the travel only.
        short_s: a press is let go after this time. long_s: it is let go this much later than asked.
        extra: after a release the pedal is pressed once more. bounce_s: the key goes on, off for this time, and on.
        wrong_position: the key stops one position short of on. early_s: the pedal comes up this much before a
        release that follows the press by ``rhythm_s``, as by somebody who does not wait for the tone.
    """

    late_s: float = 0.0
    partial: float = 0.0
    short_s: float = 0.0
    long_s: float = 0.0
    extra: bool = False
    bounce_s: float = 0.0
    wrong_position: bool = False
    early_s: float = 0.0
    rhythm_s: float = 5.0


class Hand:
    """Does pedal and key acts, slips included.

    Args: later: sets something for later. pedal: moves the pedal, 0 to 1. key: turns the key: off, on, start.
    """

    def __init__(self, later: Later, pedal: Callable[[float], None], key: Callable[[str], None]) -> None:
        self.slips = Slips()
        self._later = later
        self._pedal = pedal
        self._key = key
        self._pressed = False
        self._count = 0

    def press(self, share: float) -> None:
        """Move the pedal to a share of its travel, 0 to 1."""
        self._soon(self.slips.late_s, lambda: self._press(share))

    def turn(self, position: str) -> None:
        """Turn the key to off, on or start."""
        self._soon(self.slips.late_s, lambda: self._turn(position))

    def _soon(self, delay_s: float, what: Callable[[], None]) -> None:
        if delay_s > 0.0:
            self._later(delay_s, what)
        else:
            what()

    def _press(self, share: float) -> None:
        slips = self.slips
        self._count += 1
        if share <= 0.02:
            self._release()
            return
        self._pressed = True
        self._pedal(min(share, slips.partial) if slips.partial and share > 0.9 else share)
        hold_s = slips.short_s or (max(0.1, slips.rhythm_s - slips.early_s) if slips.early_s else 0.0)
        if hold_s and share > 0.5:
            self._later(hold_s, self._let_go(self._count))

    def _release(self) -> None:
        slips = self.slips
        was_pressed, self._pressed = self._pressed, False
        self._soon(slips.long_s if was_pressed else 0.0, lambda: self._pedal(0.0))
        if slips.extra and was_pressed:
            self._later(slips.long_s + 0.5, lambda: self._pedal(1.0))
            self._later(slips.long_s + 0.9, lambda: self._pedal(0.0))

    def _let_go(self, count: int) -> Callable[[], None]:
        def let_go() -> None:
            if count == self._count:
                self._pedal(0.0)

        return let_go

    def _turn(self, position: str) -> None:
        slips = self.slips
        if position == "on" and slips.wrong_position:
            return
        self._key(position)
        if position == "on" and slips.bounce_s:
            self._later(0.4, lambda: self._key("off"))
            self._later(0.4 + slips.bounce_s, lambda: self._key("on"))
