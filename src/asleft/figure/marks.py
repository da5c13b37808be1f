"""Shapes that say what a colour says: a tick in a disc, a cross in a square, a question mark in a frame."""

from __future__ import annotations

from asleft.model.condition import ConditionState
from asleft.model.verdict import Verdict

from .svg import Drawing

VERDICT_ROLE = {Verdict.PASS: "pass", Verdict.FAIL: "fail", Verdict.CANNOT_TELL: "tell"}
VERDICT_WORDS = {Verdict.PASS: "PASS", Verdict.FAIL: "FAIL", Verdict.CANNOT_TELL: "CANNOT TELL"}
STATE_ROLE = {ConditionState.MET: "pass", ConditionState.NOT_MET: "fail", ConditionState.NOT_KNOWN: "tell"}
STATE_WORDS = {ConditionState.MET: "met", ConditionState.NOT_MET: "not met", ConditionState.NOT_KNOWN: "not known"}


def mark(drawing: Drawing, x: float, y: float, size: float, role: str) -> None:
    """The shape of ``pass``, ``fail``, ``tell`` or, for what holds but not yet long enough, ``trace``.

    Its upper left corner stands at (x, y).
    """

    def point(px: float, py: float) -> tuple[float, float]:
        return x + px * size, y + py * size

    if role == "pass":
        drawing.circle(x + size / 2, y + size / 2, size / 2, role)
        drawing.path([point(0.25, 0.52), point(0.43, 0.7), point(0.76, 0.32)], "card", thick=size * 0.11)
    elif role == "fail":
        drawing.rect(x, y, size, size, role, round_px=size * 0.08)
        drawing.path([point(0.27, 0.27), point(0.73, 0.73)], "card", thick=size * 0.11)
        drawing.path([point(0.73, 0.27), point(0.27, 0.73)], "card", thick=size * 0.11)
    elif role == "trace":
        drawing.circle(x + size / 2, y + size / 2, size / 2, role)
        drawing.circle(x + size / 2, y + size / 2, size * 0.37, "card")
        drawing.path([point(0.5, 0.26), point(0.5, 0.5), point(0.68, 0.6)], role, thick=size * 0.1)
    else:
        drawing.frame(x + 1, y + 1, size - 2, size - 2, role, thick=size * 0.09)
        scale = size * 0.78 / drawing.size.letters
        drawing.text(x + size / 2, y + size * 0.77, "?", role, anchor="middle", bold=True, scale=scale)
