"""Ports for where nobody answers: a recording has no modules and no person."""

from __future__ import annotations

from typing import NoReturn

from asleft.model.effect import Receipt
from asleft.model.errors import Code, LinkError, RunError
from asleft.model.module import ModuleAddress
from asleft.model.origin import Origin
from asleft.model.question import Answer, Question


def _nobody(what: str) -> NoReturn:
    raise LinkError(Code.NO_BUS, f"a recording answers nothing ({what})")


class NoConversation:
    """The Conversation port of a recording: nothing can be asked, nothing sent."""

    @property
    def origin(self) -> Origin:
        """Always replay."""
        return Origin.REPLAY

    async def ask(self, target: ModuleAddress, request: bytes, *, deadline_s: float | None = None) -> bytes:
        """Raises LinkError (no-bus)."""
        del deadline_s
        _nobody(f"{target.text}: {request.hex(' ').upper()}")

    async def carry_out(self, receipt: Receipt, *, deadline_s: float | None = None) -> bytes:
        """Raises LinkError (no-bus)."""
        del deadline_s
        _nobody(f"{receipt.target.text}: {receipt.payload}")

    async def open_session(self, target: ModuleAddress, session_type: int) -> None:
        """Raises LinkError (no-bus)."""
        _nobody(f"{target.text}: session {session_type:02X}")

    async def close_sessions(self) -> None:
        """Nothing is open."""


class Nobody:
    """The Person port of a recording."""

    @property
    def wants_stop(self) -> bool:
        """Never."""
        return False

    async def answer(self, question: Question) -> Answer:
        """Raises RunError (stopped-by-person): there is nobody to ask."""
        raise RunError(Code.STOPPED_BY_PERSON, f"nobody can answer: {question.message.text}")
