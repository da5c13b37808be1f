"""What is asked and what is broadcast as one source: the Signals port for a car whose map names both.

A broadcast comes by itself, so it is read by waiting for the next one, and asks nothing of the car::

    signals = CarSignals(talk, clock, mapped=car.mapped, heard=BroadcastSignals(link, car.heard, car.description))
    stop = signals.listen()
    (angle,) = await signals.read(["steering-angle"])
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Sequence

from asleft.model.module import ModuleAddress
from asleft.model.reading import Absence, AbsenceKind, Reading, Series, Signal
from asleft.ports.clock import Clock
from asleft.ports.conversation import Conversation

from .broadcasts import BroadcastSignals
from .mapped import MappedSignal
from .quality import with_faults
from .sampler import LinkSignals

#: A broadcast that counts as live comes at least this often, s.
PATIENCE_S = 1.0
#: A reading this young is as good as the next one, s.
FRESH_S = 0.1

_SILENT = Absence(AbsenceKind.NOT_READ, "its broadcast did not go by")


class CarSignals(LinkSignals):
    """Signals of the modules on a link, those that are broadcast included.

    Args: heard: what is broadcast; None: nothing. The others: as LinkSignals.
    """

    def __init__(
        self,
        talk: Conversation,
        clock: Clock,
        sources: Sequence[ModuleAddress] | None = None,
        *,
        least_period_s: float = 0.05,
        mapped: Sequence[MappedSignal] = (),
        heard: BroadcastSignals | None = None,
    ) -> None:
        super().__init__(talk, clock, sources, least_period_s=least_period_s, mapped=mapped)
        self._heard = heard
        self._broadcast = {signal.id: signal for signal in heard.catalogue()} if heard else {}
        self._last: dict[str, tuple[float, Reading]] = {}

    def listen(self) -> Callable[[], None]:
        """Hear broadcasts from now on, on an open link; returns the way to stop."""
        if self._heard is None:
            return lambda: None
        forget, stop = self._heard.subscribe(self._take), self._heard.begin()

        def end() -> None:
            stop()
            forget()

        return end

    def catalogue(self) -> tuple[Signal, ...]:
        """What the car gives when asked, and what it broadcasts."""
        asked = (signal for signal in super().catalogue() if signal.id not in self._broadcast)
        return (*asked, *self._broadcast.values())

    async def read(self, signals: Sequence[str]) -> tuple[Reading, ...]:
        """One reading each, in the order asked; a broadcast: at most a tenth of a second old, else the next one.

        Raises: LinkError (link-lost).
        """
        asked = await super().read([n for n in signals if n not in self._broadcast])
        return await self._with_heard(signals, asked, PATIENCE_S)

    async def read_within(self, signals: Sequence[str], seconds: float) -> tuple[Reading, ...]:
        """The same with at most ``seconds`` for each."""
        asked = await super().read_within([n for n in signals if n not in self._broadcast], seconds)
        return await self._with_heard(signals, asked, seconds)

    async def record(
        self, signals: Sequence[str], seconds: float, on_reading: Callable[[Reading], None] | None = None
    ) -> tuple[Series, ...]:
        """Asked ones again and again, broadcasts as they come; a series each, in the order asked.

        Raises: LinkError (link-lost).
        """
        kept: list[Reading] = []

        def keep(reading: Reading) -> None:
            kept.append(reading)
            if on_reading is not None:
                on_reading(reading)

        wanted = {name for name in signals if name in self._broadcast}
        stop = self.subscribe(lambda reading: keep(reading) if reading.signal in wanted else None)
        try:
            asked = await super().record([n for n in signals if n not in wanted], seconds, on_reading)
        finally:
            stop()
        series = {one.signal: one for one in asked}
        if self._heard is not None:
            series |= {one.signal: one for one in self._heard.series_of(kept) if one.signal in wanted}
        return tuple(series[name] for name in signals)

    # -- inside ----------------------------------------------------------------------------------------------------

    def _take(self, reading: Reading) -> None:
        reading = with_faults(reading, self._doubted)
        self._last[reading.signal] = (self._clock.now(), reading)
        self._tell(reading)

    async def _with_heard(
        self, signals: Sequence[str], asked: Sequence[Reading], seconds: float
    ) -> tuple[Reading, ...]:
        found = {reading.signal: reading for reading in asked}
        deadline_s = self._clock.now() + seconds
        for name in signals:
            if name in self._broadcast:
                found[name] = await self._next(name, deadline_s)
        return tuple(found[name] for name in signals)

    async def _next(self, name: str, deadline_s: float) -> Reading:
        last = self._last.get(name)
        if last is not None and self._clock.now() - last[0] <= FRESH_S:
            return last[1]
        came: asyncio.Future[Reading | None] = asyncio.get_running_loop().create_future()

        def take(reading: Reading | None) -> None:
            if not came.done() and (reading is None or reading.signal == name):
                came.set_result(reading)

        stop, alarm = self.subscribe(take), self._clock.call_at(deadline_s, lambda: take(None))
        try:
            reading = await came
        finally:
            stop()
            alarm.cancel()
        return reading or self._maker.absent(name, self._clock.now(), _SILENT)
