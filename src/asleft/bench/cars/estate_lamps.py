"""Lamps of the estate's instrument cluster, as a person in the driver's seat sees them. No bus leads to them."""

from __future__ import annotations

#: Seen over this time, a lamp is off, on or flashing, s. A flash takes half a second.
FLASH_S = 0.5


class Lamps:
    """What lights them.

    Attributes: lit: asked for steadily. until_s: flashing until this car time. dead: bulbs that do not light.
    """

    CHANGES = ("lit", "until_s", "dead")

    def __init__(self) -> None:
        self.lit: dict[str, bool] = {}
        self.until_s: dict[str, float] = {}
        self.dead: list[str] = []

    def flash(self, name: str, until_s: float) -> None:
        """Flash until a car time."""
        self.until_s[name] = until_s

    def steady(self, name: str, on: bool) -> None:
        """Light it or not, while it does not flash."""
        self.lit[name] = on

    def pattern(self, name: str, now_s: float) -> str:
        """What is asked of it: off, on or flashing."""
        if now_s < self.until_s.get(name, -1.0):
            return "flashing"
        return "on" if self.lit.get(name, False) else "off"

    def seen(self, name: str, now_s: float) -> str:
        """What somebody sees who looks for a while: off, on or flashing; a dead one is off."""
        return "off" if name in self.dead else self.pattern(name, now_s)

    def bright(self, name: str, now_s: float) -> bool:
        """Whether it gives light at this moment."""
        pattern = self.seen(name, now_s)
        return pattern == "on" or (pattern == "flashing" and int(now_s / FLASH_S) % 2 == 0)
