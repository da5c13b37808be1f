"""Where a run's procedure comes from and what it lacks: read out of its own text, which the record holds. Pure."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from functools import lru_cache
from typing import cast

import msgspec

from asleft.book.lint import lint
from asleft.book.loader import LoadedProcedure, read_procedure
from asleft.book.procedure import Way
from asleft.book.remark import Level, Remark
from asleft.event.body import Noted, RunStarted
from asleft.event.envelope import Event
from asleft.model.errors import AsleftError

from .parts import Block, Cell, Events, Fact, Line, Lines, fact
from .traced import Traced
from .words import Words

#: What must hold while a criterion is measured; not what it is computed from.
_GATES = "gates"
#: Id of the remark that names a procedure's level of trust before its run.
_TRUST = "note.trust"


def procedure_facts(started: RunStarted, events: Events, w: Words) -> list[Fact]:
    """Source, edition, page, kind of source, revision, who typed and who checked, digest of the text."""
    if not started.text and not started.digest:
        return [fact(w("run.digest"), w("run.no-text"), events)]
    digest = hashlib.sha256(started.text.encode()).hexdigest()
    right = digest == started.digest
    shown = Cell(started.digest, "bytes") if right else Cell(w("run.digest-wrong", digest=started.digest), "fail")
    rows = [fact(w("run.digest"), shown, events)]
    try:
        procedure = _read(started.text, started.procedure).procedure
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


@lru_cache(maxsize=64)
def _read(text: str, name: str) -> LoadedProcedure:
    """A procedure's text read once for all that a paper says of it. Raises: AsleftError: it cannot be read."""
    return read_procedure(text.encode(), name)


def level(record: Traced, started: Event, w: Words) -> list[Fact]:
    """The level of trust that was noted right before the run; a checked procedure has no such remark."""
    before = max((e.sequence for e, _ in record.runs if e.sequence < started.sequence), default=0)
    noted = record.of(Noted, lambda n: n.message.id == _TRUST and "level" in n.message.values)
    found = [(e, n) for e, n in noted if before < e.sequence < started.sequence]
    if not found:
        return []
    event, said = found[-1]
    name = said.message.values["level"]
    text = w(f"trust.{name}") if w.knows(f"trust.{name}") else name
    return [fact(w("trust"), Cell(text, "open"), (event.sequence,))]


def gaps(record: Traced, started: RunStarted, w: Words) -> list[Block]:
    """What the procedure as it ran does not say: a quick one or a draft may lack a proof, a source, a second check."""
    found = gaps_of(started)
    events = tuple(e.sequence for e, body in record.runs if body.run == started.run)
    lines = tuple(Line(_gap(remark, w), events, "open") for remark in found)
    return [Lines(w("gaps.title", count=len(found)), lines)] if lines else []


def gaps_of(started: RunStarted) -> tuple[Remark, ...]:
    """Gaps of the procedure's own text, without those of ways it did not go; none where the text cannot be read."""
    try:
        loaded = _read(started.text, started.procedure)
    except AsleftError:
        return ()
    return tuple(r for r in lint(loaded) if r.level is Level.GAP and _of_this_way(r.field, started.way))


def _of_this_way(field: str, way: str) -> bool:
    parts = field.replace("[", ".").split(".")
    return parts[0] != "ways" or len(parts) == 1 or parts[1] not in {w.value for w in Way} - {way}


def words_of_criteria(started: RunStarted) -> dict[str, frozenset[str]]:
    """Criterion -> every text in its data, among them the signals it is computed from; empty: cannot be read."""
    try:
        procedure = _read(started.text, started.procedure).procedure
    except AsleftError:
        return {}
    plain = {c.id: cast("dict[str, object]", msgspec.to_builtins(c)) for c in procedure.criteria}
    return {name: frozenset(_texts({k: v for k, v in c.items() if k != _GATES})) for name, c in plain.items()}


def _texts(value: object) -> Iterator[str]:
    if isinstance(value, str):
        yield value
    elif isinstance(value, dict):
        for each in cast("dict[str, object]", value).values():
            yield from _texts(each)
    elif isinstance(value, list | tuple):
        for each in cast("list[object]", value):
            yield from _texts(each)


def _gap(remark: Remark, w: Words) -> str:
    field = remark.field or w("gap.whole")
    word = f"gap.{remark.code}" if w.knows(f"gap.{remark.code}") else "gap.other"
    return w(word, field=field, why=remark.why)
