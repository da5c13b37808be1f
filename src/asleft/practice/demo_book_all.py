"""All plays of the demo book by the id of their procedure, and playing one by its name."""

from __future__ import annotations

import tempfile
from pathlib import Path

from asleft.book.procedure import Way
from asleft.model.errors import Code, InputError

from .demo_book import Play, Played, play
from .demo_book_engine import ENGINE
from .demo_book_more import MORE
from .demo_book_parts import PARTS
from .demo_book_plays import FIRST

#: Procedure -> play.
PLAYS: dict[str, Play] = {one.procedure: one for one in (*FIRST, *MORE, *ENGINE, *PARTS)}


def play_procedure(procedure: str, out: Path, *, fail: str = "", way: str = "", seed: int = 1) -> Played:
    """Play a procedure of the demo book by name and write its papers to ``out``.

    Args: fail: name of a failing run. way: another way than the play's own.
    Raises: as ``play``; InputError: no such procedure, no such way.
    """
    if way and way not in tuple(Way):
        raise InputError(Code.ACT_UNKNOWN, f"no way {way!r}; there are {', '.join(Way)}")
    if procedure not in PLAYS:
        raise InputError(Code.PROCEDURE_MISSING, f"{procedure}; the demo book has {', '.join(PLAYS)}")
    with tempfile.TemporaryDirectory(prefix="asleft-demo-") as folder:
        return play(PLAYS[procedure], Path(folder), fail=fail, way=Way(way) if way else None, seed=seed, out=out)
