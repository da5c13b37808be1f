"""When a module answers: latency, response pending, one request at a time.

Between a request and its answer the module takes no other physical request: it lets it drop while the answer is
being prepared, and says busy (21) while a longer work goes on. Functional tester-present is always heard.
"""

from __future__ import annotations

import random
from collections.abc import Callable

from asleft.ports.clock import Clock, Timer

from .server import BUSY, PENDING, Server, negative
from .service import Later
from .sessions import Timing

#: Share of P2 and P2* after which response pending is said, so that it arrives in time.
_PENDING_SHARE = 0.8
_TESTER_PRESENT = 0x3E


class Answering:
    """Times a `Server`'s answers.

    Args:
        server: gives the answers.
        timing: how fast.
        seed: of the jitter.

    Attributes: extra_latency_s: added to every answer, a fault, s.
    """

    def __init__(self, server: Server, timing: Timing, seed: int) -> None:
        self._server = server
        self._timing = timing
        self._random = random.Random(seed)  # noqa: S311 - a simulation, repeatable on purpose
        self.extra_latency_s = 0.0
        self._clock: Clock | None = None
        self._send: Callable[[bytes], None] = lambda _answer: None
        self._done: Callable[[], None] = lambda: None
        self._timers: list[Timer] = []
        self._preparing = False
        self._working = False

    def attach(self, clock: Clock, send: Callable[[bytes], None], done: Callable[[], None]) -> None:
        """Use this clock; ``send`` takes answers, ``done`` is called after each request is dealt with."""
        self._clock = clock
        self._send = send
        self._done = done

    @property
    def working(self) -> bool:
        """A request takes longer; response pending was said or will be."""
        return self._working

    def stop(self) -> None:
        """Forget what is under way."""
        for timer in self._timers:
            timer.cancel()
        self._timers.clear()
        self._preparing = self._working = False

    def request(self, request: bytes, *, functional: bool) -> None:
        """A request arrived complete."""
        if self._working or self._preparing:
            self._while_occupied(request, functional=functional)
            return
        self._preparing = True
        latency_s = self.extra_latency_s + self._timing.latency_s + self._timing.jitter_s * self._random.random()
        if latency_s > self._timing.p2_s:
            self._pending_after(request, self._timing.p2_s * _PENDING_SHARE)
        self._after(latency_s, lambda: self._answer(request, functional=functional))

    def _while_occupied(self, request: bytes, *, functional: bool) -> None:
        if request[0] == _TESTER_PRESENT and functional:
            self._done()
        elif self._working and not functional:
            self._send(negative(request[0], BUSY))

    def _answer(self, request: bytes, *, functional: bool) -> None:
        self._cancel_timers()
        self._preparing = False
        try:
            answer = self._server.answer(request, functional=functional)
        except Later as later:
            self._work(request, later, functional=functional)
            return
        self._finish(answer)

    def _work(self, request: bytes, later: Later, *, functional: bool) -> None:
        self._working = True
        if later.delay_s > self._timing.p2_s * _PENDING_SHARE:
            self._send(negative(request[0], PENDING))
            self._pending_after(request, self._timing.p2_star_s * _PENDING_SHARE)

        def end() -> None:
            self._cancel_timers()
            self._working = False
            self._finish(self._server.finish(request, later, functional=functional))

        self._after(later.delay_s, end)

    def _pending_after(self, request: bytes, delay_s: float) -> None:
        """Say response pending after this long, and again and again as P2* asks."""

        def say() -> None:
            self._send(negative(request[0], PENDING))
            self._pending_after(request, self._timing.p2_star_s * _PENDING_SHARE)

        self._after(delay_s, say)

    def _finish(self, answer: bytes | None) -> None:
        if answer is not None:
            self._send(answer)
        self._done()

    # -- timers ----------------------------------------------------------------------------------------------------

    def _after(self, delay_s: float, call: Callable[[], None]) -> None:
        if self._clock is not None:
            self._timers.append(self._clock.call_at(self._clock.now() + delay_s, call))

    def _cancel_timers(self) -> None:
        for timer in self._timers:
            timer.cancel()
        self._timers.clear()
