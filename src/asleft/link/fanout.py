"""One event to many listeners: the small thing that every link needs."""

from __future__ import annotations

from collections.abc import Callable
from typing import Generic, TypeVar

from .abilities import Stop

T = TypeVar("T")


class Fanout(Generic[T]):
    """Listeners that may come and go while they are being called."""

    def __init__(self) -> None:
        self._listeners: tuple[tuple[object, Callable[[T], None]], ...] = ()

    def __call__(self, what: T) -> None:
        """Tell all who listen now."""
        for _, listener in self._listeners:
            listener(what)

    def __bool__(self) -> bool:
        return bool(self._listeners)

    def add(self, listener: Callable[[T], None]) -> Stop:
        """Listen from now on; returns the way to stop."""
        key = object()
        self._listeners = (*self._listeners, (key, listener))

        def stop() -> None:
            self._listeners = tuple(entry for entry in self._listeners if entry[0] is not key)

        return stop
