"""The MayPause port: a person who can ask a run to pause between two steps."""

from __future__ import annotations

from typing import Protocol, runtime_checkable


@runtime_checkable
class MayPause(Protocol):
    """Beside ``Person``: not everybody who answers can pause."""

    @property
    def wants_pause(self) -> bool:
        """Whether a pause was asked for and has not begun."""
        ...

    def paused(self) -> None:
        """The pause has begun; it ends with the answer to its question."""
        ...
