"""How much a car bears: the number of requests in flight adapts to what is lost, and is remembered for the car.

Nothing lost: after a while one more, up to what the settings allow or the car has proved. Several modules silent or
busy at once, or a silent request that is answered when asked again: fewer. Modules that turn out to be absent are no
sign of anything, and a reduction that only they caused is taken back. All numbers are common practice, no source.
"""

from __future__ import annotations

import msgspec

from asleft.ports.clock import Clock

from .turns import Turns

#: On a bus so full, one fewer is in flight; below, two more again. More on a full bus gain nothing: they only make the
#: modules that lose arbitration come last (measured in benchmarks/talk_speed.py).
_FULL = 0.95
#: So many answers in a row without a loss, at full use, before one more is tried.
_GROW_AFTER = 40


class ModulePace(msgspec.Struct, frozen=True):
    """What is known of one module.

    Attributes:
        busy_s: how long it kept the link busy when everything was read of it last, s.
        at_once: data identifiers that it takes in one request; 0: not limited as far as known.
        lengths: data identifier to the number of its data bytes.
    """

    busy_s: float = 0.0
    at_once: int = 0
    lengths: dict[int, int] = {}


class CarPace(msgspec.Struct, frozen=True):
    """What one car has proved; kept with the car, given to its next conversation.

    Attributes:
        in_flight: requests on their way at a time that went without a loss.
        ceiling: never more than this: more were lost; None: not met yet.
        modules: by request identifier, as text (``7E0``; with an address byte ``6F1:40``).
    """

    in_flight: int = 0
    ceiling: int | None = None
    modules: dict[str, ModulePace] = {}


class _Reduction(msgspec.Struct):
    """Why the limit was lowered, so that it can be taken back."""

    suspects: set[int]
    limit: int
    ceiling: int | None


class Pace:
    """Adapts the limit of turns on one link.

    Args:
        turns: whose limit is adapted.
        clock: of the link.
        most: never more than this.
        known: what this car proved earlier.
    """

    def __init__(self, turns: Turns, clock: Clock, most: int, known: CarPace) -> None:
        self._turns = turns
        self._clock = clock
        self._most = max(1, most)
        self._ceiling = known.ceiling
        self._proved = known.in_flight
        self._reduced_s = float("-inf")
        self._suspects: dict[int, float] = {}
        self._absent: set[int] = set()
        self._reduction: _Reduction | None = None
        self._clean = 0

    @property
    def proved(self) -> int:
        """Requests in flight that went without a loss."""
        return self._proved

    @property
    def ceiling(self) -> int | None:
        """More than this were lost; None: not met."""
        return self._ceiling

    def reduced_since(self, moment_s: float) -> bool:
        """Whether the limit was lowered after this moment: a request that was lost then deserves another chance."""
        return self._reduced_s >= moment_s

    def bus_used(self, share: float) -> None:
        """So much of the bus time was used just now, 0 to 1."""
        self._turns.room += -1 if share >= _FULL else 2

    def answered(self, module: int, lost_s: float | None = None) -> None:
        """An answer came. ``lost_s``: when it had been asked before, in vain: so it was no silent module."""
        self._suspects.pop(module, None)
        self._absent.discard(module)
        if lost_s is not None:
            self._reduction = None
            if lost_s > self._reduced_s:
                self._lower(self._turns.limit - 1)
            return
        self._clean += 1
        if self._clean >= _GROW_AFTER:
            self._clean = 0
            self._proved = max(self._proved, self._turns.limit)
            self._suspects.clear()
            top = self._most if self._ceiling is None else min(self._most, self._ceiling)
            self._turns.limit = max(self._turns.limit, min(self._turns.limit + 1, top))

    def lost(self, module: int, sent_s: float) -> None:
        """No answer came in time, or *busy*. Two modules at once mean that it was too much for the car."""
        self._clean = 0
        if module in self._absent or sent_s < self._reduced_s:
            return
        self._suspects[module] = sent_s
        if len(self._suspects) < 2 or self._turns.limit == 1:
            return
        self._reduction = _Reduction(set(self._suspects), self._turns.limit, self._ceiling)
        self._ceiling = max(1, self._turns.limit - 1)
        self._suspects.clear()
        self._lower(self._turns.limit // 2)

    def absent(self, module: int) -> None:
        """A module counts as absent now: it was no sign of too much."""
        self._absent.add(module)
        self._suspects.pop(module, None)
        undo = self._reduction
        if undo is not None:
            undo.suspects.discard(module)
            if not undo.suspects:
                self._turns.limit, self._ceiling = undo.limit, undo.ceiling
                self._reduction = None

    def _lower(self, limit: int) -> None:
        self._clean = 0
        self._reduced_s = self._clock.now()
        self._turns.limit = limit
        self._proved = min(self._proved, self._turns.limit)
