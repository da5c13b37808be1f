"""Which of a procedure's causes belong to what was seen: shown when a run does not get through or its proof fails."""

from __future__ import annotations

from asleft.book.procedure import Cause, Procedure, Seen
from asleft.event import body as b
from asleft.model.errors import AsleftError, Code, RefusedError, RunError
from asleft.model.verdict import Judgement, RunEnd, Verdict

from .gate import NotKnownError
from .log import RunLog, RunPorts


def causes_for(procedure: Procedure, *seen: Seen) -> tuple[Cause, ...]:
    """The procedure's entries for what was seen, in this order; entries that say nothing of when they fit come last."""
    fitting = [c for one in seen for c in procedure.causes if one in c.when]
    return tuple(dict.fromkeys(fitting)) + tuple(c for c in procedure.causes if not c.when and not c.criteria)


def seen_in(error: AsleftError) -> tuple[Seen, ...]:
    """What a run saw that ended with this error, likeliest first; nothing where no cause in the car follows from it."""
    if isinstance(error, RefusedError):
        return (Seen.REFUSED,)
    if isinstance(error, NotKnownError):
        return (Seen.TOO_LATE, Seen.NOT_READY)
    seen = {
        Code.MODULE_SILENT: Seen.TOO_LATE,
        Code.TRANSFER_BROKEN: Seen.TOO_LATE,
        Code.LINK_LOST: Seen.TOO_LATE,
        Code.SEQUENCE_MISSED: Seen.MISSED,
        Code.GATE_CLOSED: Seen.NOT_READY,
        Code.INTERLOCK_BROKEN: Seen.NOT_READY,
        Code.CODING_REFUSED: Seen.REFUSED,
        Code.ACCESS_CLOSED: Seen.REFUSED,
        Code.CODING_DIFFERS: Seen.NOT_PROVED,
        Code.FUNCTION_FAILED: Seen.NOT_PROVED,
    }.get(error.code)
    return () if seen is None else (seen,)


def name_causes(log: RunLog, procedure: Procedure, error: AsleftError) -> None:
    """Write down what the procedure lists for how this run ended."""
    seen = seen_in(error)
    for cause in causes_for(procedure, *seen) if seen else ():
        log.write(b.CausesNamed(log.run, cause.seen, cause.causes))


def name_causes_of_proof(ports: RunPorts, run: str, procedure: Procedure, judgements: tuple[Judgement, ...]) -> None:
    """Write down what the procedure lists for criteria that were not passed."""
    failed = {j.criterion for j in judgements if j.verdict is not Verdict.PASS}
    if not failed:
        return
    named = [c for c in procedure.causes if set(c.criteria) & failed]
    for cause in named or causes_for(procedure, Seen.NOT_PROVED):
        ports.journal.append(b.CausesNamed(run, cause.seen, cause.causes))


def end_of(error: AsleftError) -> RunEnd:
    """The way in which a run ends that raised this."""
    if isinstance(error, RefusedError) or error.code in (Code.GATE_CLOSED, Code.HARD_STOP, Code.ACCESS_CLOSED):
        return RunEnd.REFUSED
    if isinstance(error, RunError):
        return RunEnd.STOPPED
    return RunEnd.FAILED
