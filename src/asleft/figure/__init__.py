"""Figures as SVG text: strips, number lines, condition bars, acts by hand, the plan's track.

Pure: the same input, the same text.

A page shows them inline with ``STYLESHEET`` among its styles; ``Look.ALONE`` carries it inside; ``Look.PRINT`` has
plain colours only. Every figure has a title and a description for whoever does not see it, and says nothing by colour
alone.
"""

from .act_track import ActSeen, ActTrack, ActWindow, act_track
from .condition_bars import condition_bars
from .look import STYLESHEET, Look, Size
from .number_line import number_line
from .plan_track import plan_track
from .strip import Band, Shade, StepMark, strip

__all__ = [
    "STYLESHEET",
    "ActSeen",
    "ActTrack",
    "ActWindow",
    "Band",
    "Look",
    "Shade",
    "Size",
    "StepMark",
    "act_track",
    "condition_bars",
    "number_line",
    "plan_track",
    "strip",
]
