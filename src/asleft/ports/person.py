"""The Person port: the technician at the car."""

from __future__ import annotations

from typing import Protocol

from asleft.model.question import Answer, Question


class Person(Protocol):
    """Someone who answers questions and may say stop at any time."""

    async def answer(self, question: Question) -> Answer:
        """Wait for the answer. Raises RunError (stopped-by-person) when stop is said meanwhile."""
        ...

    @property
    def wants_stop(self) -> bool:
        """Whether stop was said."""
        ...
