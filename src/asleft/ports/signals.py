"""The Signals port: live readings by name, whatever they come from."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Protocol, runtime_checkable

from asleft.model.origin import Origin
from asleft.model.reading import Reading, Series, Signal


class Signals(Protocol):
    """Readings of named signals."""

    @property
    def origin(self) -> Origin:
        """Where the readings come from."""
        ...

    def catalogue(self) -> tuple[Signal, ...]:
        """Signals that this car supports, as far as known."""
        ...

    async def read(self, signals: Sequence[str]) -> tuple[Reading, ...]:
        """One reading each, in the order asked; what is not there is an absence with its reason, not an error."""
        ...

    async def record(
        self, signals: Sequence[str], seconds: float, on_reading: Callable[[Reading], None] | None = None
    ) -> tuple[Series, ...]:
        """Read the signals again and again for ``seconds`` and return a series each, as fast as the link allows.

        Signals without a single reading come back as an empty series.
        """
        ...


@runtime_checkable
class QuickSignals(Protocol):
    """Signals that can also say soon that nobody answers; beside ``Signals``, where the source can."""

    async def read_within(self, signals: Sequence[str], seconds: float) -> tuple[Reading, ...]:
        """One reading each, with at most ``seconds`` for each request; the reading tells when its answer came."""
        ...


@runtime_checkable
class PacedSignals(Protocol):
    """Signals that can be recorded more slowly than the link allows; beside ``Signals``, where the source can."""

    async def record_paced(
        self,
        signals: Sequence[str],
        seconds: float,
        every_s: float,
        on_reading: Callable[[Reading], None] | None = None,
    ) -> tuple[Series, ...]:
        """As ``Signals.record``, with at least ``every_s`` from one reading to the next."""
        ...
