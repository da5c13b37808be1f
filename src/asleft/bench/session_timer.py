"""The time a session lasts without a request (S3; on a K-line P3 max)."""

from __future__ import annotations

from collections.abc import Callable

from asleft.ports.clock import Clock, Timer


class SessionTimer:
    """Runs from the last request dealt with; stands still while the module works on one.

    Args:
        limit_s: how long, s.
        working: whether a request is being worked on now.
        over: called when the time is up.
    """

    def __init__(self, limit_s: float, working: Callable[[], bool], over: Callable[[], None]) -> None:
        self._limit_s = limit_s
        self._working = working
        self._over = over
        self._clock: Clock | None = None
        self._timer: Timer | None = None
        self._last_s = 0.0

    def attach(self, clock: Clock) -> None:
        """Use this clock."""
        self._clock = clock

    def restart(self) -> None:
        """The time begins anew."""
        if self._clock is None:
            return
        self._last_s = self._clock.now()
        if self._timer is None:
            self._timer = self._clock.call_at(self._last_s + self._limit_s, self._look)

    def stop(self) -> None:
        """No session to end."""
        if self._timer is not None:
            self._timer.cancel()
            self._timer = None

    def _look(self) -> None:
        self._timer = None
        if self._clock is None:
            return
        now_s = self._clock.now()
        due_s = (now_s if self._working() else self._last_s) + self._limit_s
        if due_s <= now_s + 1e-9:
            self._over()
        else:
            self._timer = self._clock.call_at(due_s, self._look)
