"""The Conversation port: requests and answers with control modules, effects only with a receipt."""

from __future__ import annotations

from typing import Protocol

from asleft.model.effect import Receipt
from asleft.model.module import ModuleAddress
from asleft.model.origin import Origin


class Conversation(Protocol):
    """Diagnostic requests on one link.

    Every call ends: with an answer, or with a typed error at its deadline.
    """

    @property
    def origin(self) -> Origin:
        """Where the answers come from."""
        ...

    async def ask(self, target: ModuleAddress, request: bytes, *, deadline_s: float | None = None) -> bytes:
        """Send a request that only reads (or opens a session) and return the positive answer's bytes.

        Args: deadline_s: longest wait for the whole answer, s; None: the module's own P2 and P2*.
        Raises: ModuleError: module-silent, module-refused (``refusal`` holds the code), answer-malformed.
            RunError: receipt-missing when the bytes have an effect. LinkError: link-lost.
        """
        ...

    async def carry_out(self, receipt: Receipt, *, deadline_s: float | None = None) -> bytes:
        """Send the bytes of a receipt, once, never again by itself, and return the positive answer's bytes.

        Raises: as ``ask``; RecordError: receipt-used. After a silent or lost answer the effect is *not known*.
        """
        ...

    async def open_session(self, target: ModuleAddress, session_type: int) -> None:
        """Open a diagnostic session and keep it alive until ``close_sessions``."""
        ...

    async def close_sessions(self) -> None:
        """Return every module to its default session where it answers; never raises for a silent module."""
        ...
