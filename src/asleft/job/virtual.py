"""An asyncio event loop in virtual time: when nothing is ready, it jumps to the next due moment.

Why not a library: measured in docs/decisions/0004-time-is-a-parameter.md.
"""

from __future__ import annotations

import asyncio
import selectors
from collections.abc import Mapping
from typing import Any

#: Real readiness (sockets, pipes) is looked at once in this many turns; virtual work has none.
_POLL_EVERY = 64


class DeadlockError(RuntimeError):
    """Nothing is scheduled and nothing can happen: a bug of the caller, told instead of hanging for ever."""


class RealSelector(selectors.BaseSelector):
    """The system's selector behind one of our own, which decides only how a wait is answered."""

    def __init__(self) -> None:
        self._real = selectors.DefaultSelector()

    def register(self, fileobj: Any, events: int, data: Any = None) -> selectors.SelectorKey:
        """As the system's."""
        return self._real.register(fileobj, events, data)

    def unregister(self, fileobj: Any) -> selectors.SelectorKey:
        """As the system's."""
        return self._real.unregister(fileobj)

    def modify(self, fileobj: Any, events: int, data: Any = None) -> selectors.SelectorKey:
        """As the system's."""
        return self._real.modify(fileobj, events, data)

    def get_map(self) -> Mapping[Any, selectors.SelectorKey]:
        """As the system's."""
        return self._real.get_map()

    def close(self) -> None:
        """As the system's."""
        self._real.close()


class _JumpingSelector(RealSelector):
    """Answers a wait by moving virtual time on, and looks at real file objects now and then."""

    def __init__(self) -> None:
        super().__init__()
        self._turn = 0
        self.now = 0.0

    def select(self, timeout: float | None = None) -> list[tuple[selectors.SelectorKey, int]]:
        self._turn += 1
        if timeout is None:
            ready = self._real.select(1.0)
            if not ready:
                raise DeadlockError("virtual time stands still: nothing is scheduled")
            return ready
        ready = self._real.select(0) if self._turn % _POLL_EVERY == 0 else []
        if timeout > 0 and not ready:
            self.now += timeout
        return ready


class VirtualLoop(asyncio.SelectorEventLoop):
    """Event loop whose ``time()`` is virtual and starts at zero."""

    def __init__(self) -> None:
        self._jumping = _JumpingSelector()
        super().__init__(self._jumping)

    def time(self) -> float:
        """Virtual time, s."""
        return self._jumping.now
