"""What a procedure usually takes in this shop, from the history of its jobs."""

from __future__ import annotations

import asyncio
from pathlib import Path

from asleft.model.errors import AsleftError

from .desk import Usual
from .history import History


def usual_from(folder: Path) -> Usual:
    """Ask the history over the data folder's journals. What it cannot say, or too few runs show, is not known.

    The store is read in a thread of its own, and never holds a run up by failing.
    """

    def look(procedure: str, origin: str) -> float | None:
        try:
            history = History(folder)
        except AsleftError:
            return None
        try:
            history.refresh()
            return history.usual_seconds(procedure, origin)
        except AsleftError:
            return None
        finally:
            history.close()

    async def usual(procedure: str, origin: str) -> float | None:
        return await asyncio.to_thread(look, procedure, origin)

    return usual
