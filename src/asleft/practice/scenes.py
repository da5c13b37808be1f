"""Scenes of the exercises: a bench car, what the workshop knows of it, what hands do there."""

from __future__ import annotations

from .demo_book import Play
from .demo_book_all import PLAYS
from .scene import ALDRA

_THROTTLE = Play(
    "throttle-stop-learn-aldra",
    "petrol",
    "Aldra",
    "1.6",
    2019,
    "throttle-removed-refitted",
    ALDRA,
    options={"warm": True},
)

#: By name.
SCENES: dict[str, Play] = {"throttle-cleaned-aldra": _THROTTLE, **PLAYS}
