"""All plays of the demo book by the id of their procedure, and playing one by its name."""

from __future__ import annotations

import tempfile
from pathlib import Path

from asleft.model.errors import Code, InputError

from .demo_book import Play, Played, play
from .demo_book_engine import ENGINE
from .demo_book_more import MORE
from .demo_book_parts import PARTS
from .demo_book_plays import FIRST

#: Procedure -> play.
PLAYS: dict[str, Play] = {one.procedure: one for one in (*FIRST, *MORE, *ENGINE, *PARTS)}


def play_procedure(procedure: str, out: Path, *, fail: str = "", seed: int = 1) -> Played:
    """Play a procedure of the demo book by name and write its papers to ``out``. Raises: as ``play``; InputError."""
    if procedure not in PLAYS:
        raise InputError(Code.PROCEDURE_MISSING, f"{procedure}; the demo book has {', '.join(PLAYS)}")
    with tempfile.TemporaryDirectory(prefix="asleft-demo-") as folder:
        return play(PLAYS[procedure], Path(folder), fail=fail, seed=seed, out=out)
