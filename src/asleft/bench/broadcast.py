"""Cyclic frames of a bench module, as other modules and dash need them."""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Iterable
from dataclasses import dataclass

from asleft.model.errors import LinkError
from asleft.model.frame import CanFrame
from asleft.ports.clock import Clock, Timer


@dataclass(frozen=True)
class Broadcast:
    """A cyclic frame the module sends while awake: identifier, period in s, and its data at the moment of sending."""

    id: int
    period_s: float
    data: Callable[[], bytes]
    extended: bool = False

    def frame(self) -> CanFrame:
        """The frame with the data of this moment."""
        return CanFrame(self.id, self.data(), self.extended)


class Broadcaster:
    """Sends a module's broadcasts on time, one timer each; a frame that the bus refuses is left out."""

    def __init__(self, broadcasts: Iterable[Broadcast], send: Callable[[Broadcast], None]) -> None:
        self._broadcasts = tuple(broadcasts)
        self._send = send
        self._clock: Clock | None = None
        self._timers: dict[int, Timer] = {}

    def start(self, clock: Clock) -> None:
        """Begin; first frames are spread over their period."""
        self.stop()
        self._clock = clock
        for index, item in enumerate(self._broadcasts):
            first_s = clock.now() + item.period_s * (index + 1) / (len(self._broadcasts) + 1)
            self._arm(index, item, first_s)

    def stop(self) -> None:
        """Fall silent."""
        for timer in self._timers.values():
            timer.cancel()
        self._timers.clear()
        self._clock = None

    def _arm(self, index: int, item: Broadcast, due_s: float) -> None:
        clock = self._clock
        if clock is None:
            return

        def due() -> None:
            with contextlib.suppress(LinkError):  # bus off or flooded: the next one may get through
                self._send(item)
            self._arm(index, item, due_s + item.period_s)

        self._timers[index] = clock.call_at(due_s, due)
