"""Trouble codes of a bench module: they mature, are confirmed, heal, age and clear by rule.

Status bits follow ISO 14229-1 annex D (recalled, not checked against the text): 0 test failed, 1 failed this operation
cycle, 2 pending, 3 confirmed, 4 not completed since clear, 5 failed since clear, 6 not completed this cycle,
7 warning indicator requested. An operation cycle is one key-on::

    codes = TroubleMemory([
        TroubleCode(0x217600, "idle position not learned", lambda: not stop.learned, trips=1, lamp=True),
        TroubleCode(0x056200, "supply voltage low", lambda: battery.volts < 10.5, fail_s=2.0),
    ])
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass


@dataclass(frozen=True)
class TroubleCode:
    """One code with the rule by which it comes and goes.

    Attributes:
        code: 3 bytes: two of the code (SAE J2012 bits), one failure type: 0x217600 is P2176-00.
        text: what it means, own words.
        failing: True fails now, False passes now, None: cannot be tested now. None instead of a callable: only
            `TroubleMemory.report` sets it.
        fail_s: fails this long without a break before the test counts as failed, s.
        pass_s: passes this long before the test counts as passed, s.
        trips: operation cycles with a failure until confirmed; 1: at once.
        heal_cycles: cycles passed without failure until the lamp is no longer requested.
        age_cycles: cycles passed without failure, after healing, until the code is erased.
        lamp: requests the warning lamp when confirmed.
        emission: stands in OBD services 03, 07, 0A too.
        clearable: a callable that gives None when it may be cleared, else the negative response code for 14.
    """

    code: int
    text: str
    failing: Callable[[], bool | None] | None = None
    fail_s: float = 0.5
    pass_s: float = 1.0
    trips: int = 1
    heal_cycles: int = 3
    age_cycles: int = 40
    lamp: bool = False
    emission: bool = False
    clearable: Callable[[], int | None] = lambda: None


class TroubleMemory:
    """The codes of one module and their state."""

    def __init__(self, codes: Iterable[TroubleCode], snapshot: Callable[[], bytes] | None = None) -> None:
        raise NotImplementedError

    def status(self, code: int) -> int:
        """Status byte of a code. Raises KeyError: the module does not know it."""
        raise NotImplementedError

    def report(self, code: int, *, failing: bool) -> None:
        """A completed test: failed or passed, at once, without debounce."""
        raise NotImplementedError

    def clear(self, code: int | None = None) -> None:
        """Clear one code or all, without asking conditions."""
        raise NotImplementedError
