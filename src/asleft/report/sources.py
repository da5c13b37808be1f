"""Where a run's procedure comes from: read out of its own text, which the record holds. Pure."""

from __future__ import annotations

import hashlib

from asleft.book.loader import read_procedure
from asleft.event.body import RunStarted
from asleft.model.errors import AsleftError

from .parts import Cell, Events, Fact, fact
from .words import Words


def procedure_facts(started: RunStarted, events: Events, w: Words) -> list[Fact]:
    """Source, edition, page, kind of source, revision, who typed and who checked, digest of the text."""
    if not started.text and not started.digest:
        return [fact(w("run.digest"), w("run.no-text"), events)]
    digest = hashlib.sha256(started.text.encode()).hexdigest()
    right = digest == started.digest
    shown = Cell(started.digest, "bytes") if right else Cell(w("run.digest-wrong", digest=started.digest), "fail")
    rows = [fact(w("run.digest"), shown, events)]
    try:
        procedure = read_procedure(started.text.encode(), started.procedure).procedure
    except AsleftError as error:
        return [*rows, fact(w("run.source"), Cell(w("run.unreadable", why=error.cause), "open"), events)]
    source, nobody = procedure.source, w("not-said")
    revision = w("run.revision-text", revision=procedure.revision, risk=procedure.risk)
    return [
        *rows,
        fact(w("run.source"), source.text, events),
        fact(w("run.kind"), w(f"kind.{source.kind.value}"), events),
        fact(w("run.revision"), revision, events),
        fact(w("run.entered"), source.entered_by or nobody, events),
        fact(w("run.checked"), source.checked_by or nobody, events),
    ]
