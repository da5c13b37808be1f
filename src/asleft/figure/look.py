"""How figures look: sizes, colours by role, and the style sheet that lets a page put its own colours in their place.

Every shape carries its light colour as an attribute, so that a figure stands by itself; on a page the classes of
``STYLESHEET`` put the page's colours, light or dark, over it. In print there are neither classes nor style.

Contrast of text and marks on the card is at least 4.5 : 1, of lines that mean something at least 3 : 1, in both
schemes (checked by a test). Source: WCAG 2.2, 1.4.3 and 1.4.11.
"""

from __future__ import annotations

from enum import StrEnum, unique

import msgspec


@unique
class Look(StrEnum):
    """Where a figure will stand."""

    PAGE = "page"
    ALONE = "alone"
    PRINT = "print"


class Size(msgspec.Struct, frozen=True):
    """Size of a figure.

    Attributes:
        width: px; the figure scales with its container, so this sets how large its letters are beside it.
        letters: height of its text, px.
    """

    width: int = 720
    letters: int = 17

    @property
    def line(self) -> float:
        """Distance of two lines of text, px."""
        return 1.35 * self.letters


#: Role -> (light, dark). Names of roles are the classes ``f-<role>`` (fill) and ``s-<role>`` (stroke).
COLOURS: dict[str, tuple[str, str]] = {
    "card": ("#fffdf8", "#1d2327"),
    "ink": ("#1c2126", "#eef1f2"),
    "soft": ("#545b62", "#b3bcc2"),
    "axis": ("#8d8672", "#87949c"),
    "band": ("#d9ecdc", "#214a31"),
    "edge": ("#1d5c33", "#a3e0b3"),
    "guard": ("#b08a2e", "#d9b45a"),
    "shade": ("#dfe7f3", "#2c3b52"),
    "trace": ("#0b4f6c", "#8fd0ee"),
    "mark": ("#b3471d", "#ffb077"),
    "pass": ("#1d5c33", "#a3e0b3"),
    "fail": ("#9b1c1c", "#ffb0a6"),
    "tell": ("#6a4a00", "#f2cf78"),
    "gap": ("#eee8d9", "#2a3136"),
}

#: Plain colours on white paper.
PRINT: dict[str, str] = {
    **{role: light for role, (light, _) in COLOURS.items()},
    "card": "#ffffff",
    "ink": "#1a1a1a",
    "soft": "#595959",
    "axis": "#767676",
}

SCREEN_FONT = "system-ui, 'Noto Sans', 'DejaVu Sans', sans-serif"
PRINT_FONT = "'Libertinus Serif', 'DejaVu Sans Mono', serif"


def colour(role: str, look: Look) -> str:
    """The colour that stands in the attribute."""
    return PRINT[role] if look is Look.PRINT else COLOURS[role][0]


def _rules(scheme: int) -> str:
    return "".join(
        f"svg.fig .f-{role}{{fill:{pair[scheme]}}}svg.fig .s-{role}{{stroke:{pair[scheme]}}}"
        for role, pair in COLOURS.items()
    )


#: Style sheet for a page that shows figures inline: both schemes, by the reader's setting.
STYLESHEET = f"{_rules(0)}@media (prefers-color-scheme: dark){{{_rules(1)}}}@media print{{{_rules(0)}}}"
