"""What stands beside an exercise's record: a trainer's remarks, and what was looked at at the car."""

from __future__ import annotations

import msgspec


class Comment(msgspec.Struct, frozen=True):
    """A trainer's remark on one event, by its sequence."""

    event: int
    by: str
    text: str


class Looked(msgspec.Struct, frozen=True):
    """Something looked at or done at the car: when, s at the car, what, and what was seen."""

    at_s: float
    words: str
    seen: str = ""
