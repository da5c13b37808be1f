"""The Journal port: the record of one job. What is appended is durable before the call returns."""

from __future__ import annotations

from typing import Protocol

from asleft.event.body import Body
from asleft.event.envelope import Event
from asleft.model.effect import Intent, Receipt


class Journal(Protocol):
    """Append-only record of one job."""

    @property
    def job(self) -> str:
        """Number of the job."""
        ...

    def append(self, body: Body, *, actor: str = "") -> Event:
        """Write one event and return it once it is durable. Raises RecordError (journal-unwritable)."""
        ...

    def intend(self, intent: Intent, *, actor: str = "") -> Receipt:
        """Write an intent and return the single-use permission to send exactly its bytes."""
        ...

    def redeem(self, receipt: Receipt) -> None:
        """Use a receipt up.

        Raises: RecordError (receipt-used) the second time, RunError (receipt-missing) for a strange one.
        """
        ...

    def events(self) -> tuple[Event, ...]:
        """All events so far, in order."""
        ...
