"""What the page knows of the engine: asked at most once a second, however many watch."""

from __future__ import annotations

import asyncio
import time
from dataclasses import dataclass

from asleft.job.client import JobClient
from asleft.model.errors import AsleftError

#: How old an answer of the engine may be, s.
_OLD_S = 1.0
#: An engine that does not say a word for so long is taken for absent, s.
_PATIENCE_S = 3.0


@dataclass(frozen=True)
class Engine:
    """What the engine said of itself.

    Attributes:
        present: it answers. origin, link: of its link. workshop, technician: who works here.
        job: number of the job in hand, or empty. bench: a bench driver can do what is asked.
    """

    present: bool
    origin: str = ""
    link: str = ""
    workshop: str = ""
    technician: str = ""
    job: str = ""
    bench: bool = False


class EngineSight:
    """Asks the engine, remembers for a second."""

    def __init__(self, client: JobClient) -> None:
        self._client = client
        self._engine = Engine(False)
        self._asked_s = float("-inf")
        self._lock = asyncio.Lock()

    async def look(self, *, fresh: bool = False) -> Engine:
        """The engine as it stands; ``fresh``: ask now."""
        asked = time.monotonic()
        async with self._lock:
            if self._asked_s < (asked if fresh else asked - _OLD_S):
                self._engine = await self._ask()
                self._asked_s = time.monotonic()
        return self._engine

    async def _ask(self) -> Engine:
        try:
            said = await asyncio.wait_for(self._client.engine(), _PATIENCE_S)
        except (AsleftError, TimeoutError):
            return Engine(False)
        known = Engine.__dataclass_fields__.keys() - {"present"}
        return Engine(True, **{k: v for k, v in said.items() if k in known})
