"""Acts by hand as they were seen."""

from __future__ import annotations

import msgspec


class ActTimed(msgspec.Struct, frozen=True):
    """An act that a signal showed.

    Attributes: act: in words. at_s: after the first act, s. u_s: half-width, s. off_s: from its time; late is positive.
    """

    act: str
    at_s: float
    u_s: float
    off_s: float
