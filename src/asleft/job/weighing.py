"""Named causes with what was measured for and against them, as the procedure itself links criteria to causes."""

from __future__ import annotations

import msgspec

from asleft.book.loader import read_procedure
from asleft.book.procedure import Cause
from asleft.event.body import CausesNamed
from asleft.event.fold import RunState
from asleft.model.errors import AsleftError
from asleft.model.verdict import Judgement, Rule, Verdict


class Weighed(msgspec.Struct, frozen=True):
    """What was seen with its causes, likeliest first, and the criteria that the procedure links to them.

    Attributes: speaks_for: failed. against: passed. open: could not be told.
    """

    named: CausesNamed
    speaks_for: tuple[Judgement, ...]
    against: tuple[Judgement, ...]
    open: tuple[Judgement, ...]


def weighed(run: RunState) -> tuple[Weighed, ...]:
    """Each named group of causes with its evidence; no link is guessed from words."""
    linked = {cause.seen: set(cause.criteria) for cause in _causes(run)}
    judged = [j for j in run.judgements if j.rule is not Rule.REPORT_ONLY]

    def of(named: CausesNamed, verdict: Verdict) -> tuple[Judgement, ...]:
        return tuple(j for j in judged if j.criterion in linked.get(named.seen, set()) and j.verdict is verdict)

    kinds = (Verdict.FAIL, Verdict.PASS, Verdict.CANNOT_TELL)
    return tuple(Weighed(named, *(of(named, kind) for kind in kinds)) for named in run.causes)


def _causes(run: RunState) -> tuple[Cause, ...]:
    """As the run's own text has them; none where it cannot be read."""
    try:
        return read_procedure(run.started.text.encode(), run.started.procedure).procedure.causes
    except AsleftError:
        return ()
