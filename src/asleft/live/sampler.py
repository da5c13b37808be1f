"""Live signals through a conversation: the Signals port over standard OBD and over what the car's map names.

What each module supports is asked once. Up to six parameters go into one request where the module takes that; where it
does not, they are asked one by one from then on. Every reading carries the time at which its answer was received, its
bytes, and an uncertainty from the step and the sensor's own error::

    signals = LinkSignals(talk, clock)
    speed, coolant = await signals.read(["engine-speed", "coolant-temperature"])

May not judge: a value that cannot be is flagged, not dropped.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Coroutine, Iterable, Sequence

import msgspec

from asleft.model.module import ModuleAddress
from asleft.model.origin import Origin
from asleft.model.reading import Absence, AbsenceKind, Reading, Series, Signal
from asleft.model.trouble import TroubleCode
from asleft.ports.clock import Clock
from asleft.ports.conversation import Conversation

from .asking import Asking, IdentifierAsking, ParameterAsking, Taken
from .catalogue import CATALOGUE
from .mapped import MappedSignal
from .quality import RateMeter, signals_in_fault, with_faults
from .readings import ReadingMaker
from .support import Source, choose, find_sources

Subscriber = Callable[[Reading], None]

_NO_PARAMETER = Absence(AbsenceKind.UNSUPPORTED, "no standard parameter carries it")
_NOT_SUPPORTED = Absence(AbsenceKind.UNSUPPORTED, "the car does not support it")
_NOBODY = Absence(AbsenceKind.NOT_READ, "no module answers with standard data")


class LinkSignals:
    """Signals of the modules on a link.

    Args:
        talk: conversation on an open link.
        clock: the link's.
        sources: modules to read from; None: whoever answers to everybody.
        least_period_s: least time between two rounds of a module when recording, s: gentle on the car and enough for
            everything that is judged (5 to 10 a second are usual). 0: as fast as the link allows.
        mapped: signals that modules give by data identifier; they come before standard OBD.
    """

    def __init__(
        self,
        talk: Conversation,
        clock: Clock,
        sources: Sequence[ModuleAddress] | None = None,
        *,
        least_period_s: float = 0.05,
        mapped: Sequence[MappedSignal] = (),
    ) -> None:
        self._talk = talk
        self._clock = clock
        self._least_period_s: float = least_period_s
        self._addresses = None if sources is None else tuple(sources)
        self._sources: tuple[Source, ...] = ()
        self._mapped = {entry.signal.id: entry for entry in mapped}
        self._asking: dict[tuple[type[Asking], ModuleAddress], Asking] = {}
        self._maker = ReadingMaker(talk.origin)
        self._subscribers: list[Subscriber] = []
        self._finding = asyncio.Lock()
        self._rates = RateMeter()
        self._doubted: dict[str, str] = {}

    @property
    def origin(self) -> Origin:
        """The conversation's own."""
        return self._talk.origin

    def catalogue(self) -> tuple[Signal, ...]:
        """Signals that this car supports; empty before it was asked (``prepare``)."""
        standard = {name: signal for name, signal in CATALOGUE.items() if choose(name, self._sources) is not None}
        own = {
            name: msgspec.structs.replace(entry.signal, resolution=entry.step) for name, entry in self._mapped.items()
        }
        return tuple((standard | own).values())

    def subscribe(self, subscriber: Subscriber) -> Callable[[], None]:
        """See every reading from now on, whoever asked for it; returns the way to stop."""
        self._subscribers.append(subscriber)
        return lambda: self._subscribers.remove(subscriber) if subscriber in self._subscribers else None

    def one_by_one(self) -> None:
        """Ask modules that were asked before for one value at a time from now on: for a car that dislikes groups."""
        for asking in self._asking.values():
            asking.at_once = 1

    def rate_hz(self, signal: str) -> float | None:
        """How often a signal really came lately, 1/s; None until two readings came."""
        return self._rates.hz(signal)

    def in_fault(self, codes: Iterable[TroubleCode]) -> dict[str, str]:
        """Mark readings *suspect* from now on whose sensor or module says by a trouble code not to believe it.

        Returns: those signals, each with its code.
        """
        self._doubted = signals_in_fault(codes)
        return dict(self._doubted)

    async def prepare(self) -> tuple[Source, ...]:
        """Ask once what the car supports; again only while nobody has answered. Raises LinkError."""
        async with self._finding:
            if not self._sources:
                self._sources = await find_sources(self._talk, self._addresses)
        return self._sources

    async def read(self, signals: Sequence[str]) -> tuple[Reading, ...]:
        """One reading each, in the order asked; what is not there is an absence with its reason.

        Raises: LinkError (link-lost).
        """
        await self._prepare_for(signals)
        found: dict[str, Reading] = {}

        async def one(asking: Asking, names: dict[int, list[str]]) -> None:
            def take(taken: Taken) -> None:
                for reading in self._readings(taken, names):
                    found[reading.signal] = reading
                    self._tell(reading)

            await asking.once(tuple(names), take)

        await _all(one(asking, names) for asking, names in self._wanted(signals))
        return tuple(found.get(name) or self._absent(name) for name in signals)

    async def read_within(self, signals: Sequence[str], seconds: float) -> tuple[Reading, ...]:
        """The same with at most ``seconds`` for each request: silence is known soon, for whoever watches for a key.

        A signal that was silent within the last second cannot be told from its late answer: ask for another one.
        """
        await self._prepare_for(signals)
        askings = [asking for asking, _ in self._wanted(signals)]
        before = [asking.within_s for asking in askings]
        for asking in askings:
            asking.within_s = seconds
        try:
            return await self.read(signals)
        finally:
            for asking, usual in zip(askings, before, strict=True):
                asking.within_s = usual

    async def record(
        self, signals: Sequence[str], seconds: float, on_reading: Callable[[Reading], None] | None = None
    ) -> tuple[Series, ...]:
        """Read again and again for ``seconds``; a series each, in the order asked.

        A module that is silent for a while leaves gaps, no error. Raises: LinkError (link-lost).
        """
        end_s = self._clock.now() + seconds
        await self._prepare_for(signals)
        kept: dict[str, list[tuple[float, float]]] = {name: [] for name in signals}
        gaps = dict.fromkeys(signals, 0)

        async def one(asking: Asking, names: dict[int, list[str]]) -> None:
            def take(taken: Taken) -> None:
                for reading in self._readings(taken, names):
                    if reading.value is None:
                        gaps[reading.signal] += 1
                        continue
                    kept[reading.signal].append((reading.time_s, reading.value))
                    self._tell(reading)
                    if on_reading is not None:
                        on_reading(reading)

            while (begun_s := self._clock.now()) < end_s:
                await asking.once(tuple(names), take, end_s)
                if self._least_period_s:
                    await self._clock.sleep_until(min(begun_s + self._least_period_s, end_s))

        await _all(one(asking, names) for asking, names in self._wanted(signals))
        await self._clock.sleep_until(end_s)
        return tuple(self._series(name, kept[name], gaps[name]) for name in signals)

    async def record_paced(
        self,
        signals: Sequence[str],
        seconds: float,
        every_s: float,
        on_reading: Callable[[Reading], None] | None = None,
    ) -> tuple[Series, ...]:
        """As ``record``, no faster than every ``every_s``: a slow signal need not fill the bus. Raises: as there."""
        before = self._least_period_s
        self._least_period_s = max(before, every_s)
        try:
            return await self.record(signals, seconds, on_reading)
        finally:
            self._least_period_s = before

    # -- inside ----------------------------------------------------------------------------------------------------

    async def _prepare_for(self, signals: Sequence[str]) -> None:
        if any(name not in self._mapped for name in signals):
            await self.prepare()

    def _wanted(self, signals: Sequence[str]) -> list[tuple[Asking, dict[int, list[str]]]]:
        """What to ask of each module in each language, with the signals it carries."""
        wanted: dict[Asking, dict[int, list[str]]] = {}
        for name in dict.fromkeys(signals):
            mapped = self._mapped.get(name)
            if mapped is not None:
                asking, key = self._asking_of(IdentifierAsking, mapped.address), mapped.item.identifier
            elif (chosen := choose(name, self._sources)) is not None:
                asking, key = self._asking_of(ParameterAsking, chosen[0].address), chosen[1]
            else:
                continue
            wanted.setdefault(asking, {}).setdefault(key, []).append(name)
        return list(wanted.items())

    def _asking_of(self, kind: type[Asking], address: ModuleAddress) -> Asking:
        asking = self._asking.get((kind, address))
        if asking is None:
            asking = self._asking[kind, address] = kind(self._talk, self._clock, address)
        return asking

    def _readings(self, taken: Taken, names: dict[int, list[str]]) -> list[Reading]:
        made = (
            self._maker.make(name, key, taken, self._mapped.get(name)) for key in taken.asked for name in names[key]
        )
        return [with_faults(reading, self._doubted) for reading in made]

    def _absent(self, name: str) -> Reading:
        reason = _NOT_SUPPORTED if self._sources else _NOBODY
        return self._maker.absent(name, self._clock.now(), reason if name in CATALOGUE else _NO_PARAMETER)

    def _tell(self, reading: Reading) -> None:
        self._rates.add(reading)
        for subscriber in tuple(self._subscribers):
            subscriber(reading)

    def _series(self, name: str, samples: list[tuple[float, float]], gaps: int) -> Series:
        mapped = self._mapped.get(name)
        signal = mapped.signal if mapped is not None else CATALOGUE.get(name)
        times, values = zip(*samples, strict=True) if samples else ((), ())
        if signal is None:
            return Series(name, "1", times, values, 0.0, gaps=gaps)
        resolution = signal.resolution if mapped is None else mapped.step
        return Series(name, signal.unit, times, values, resolution, signal.accuracy, gaps=gaps)


async def _all(works: Iterable[Coroutine[None, None, None]]) -> None:
    """Run all at once; when one fails, or the caller is cancelled, none goes on behind anybody's back."""
    tasks = [asyncio.ensure_future(work) for work in works]
    try:
        await asyncio.gather(*tasks)
    finally:
        for task in tasks:
            task.cancel()
