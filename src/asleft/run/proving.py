"""The proof of a run: what the saved recordings show, and in the end what the trouble codes show."""

from __future__ import annotations

from asleft.book.procedure import Procedure
from asleft.event import body as b
from asleft.event.fold import RunState
from asleft.model.message import Message, say
from asleft.model.reading import Series
from asleft.model.verdict import Judgement, RunEnd, Verdict, overall
from asleft.proof.codes import CodesSeen
from asleft.proof.criteria import judge
from asleft.proof.criterion_data import CodeAbsent, Criterion

from .log import RunPorts

#: Id of the step that judges what was measured: once it stands in the record, only the end of the job decides the rest.
PROOF = "proof"

_WORDS = {Verdict.PASS: "PASS", Verdict.FAIL: "FAIL", Verdict.CANNOT_TELL: "CANNOT TELL"}


def judge_samples(criteria: tuple[Criterion, ...], samples: dict[str, tuple[Series, ...]]) -> tuple[Judgement, ...]:
    """Every criterion that recordings decide."""
    return tuple(judge(c, samples) for c in criteria if not isinstance(c, CodeAbsent))


def conclude(ports: RunPorts, run: RunState, procedure: Procedure, codes: CodesSeen | None) -> Verdict | None:
    """Judge what only shows after the clear and the key cycles, and end the run.

    Args: codes: what was read of the modules in the end; None: not read.
    Returns: the verdict of the whole; None for a procedure without criteria.
    Raises: RecordError.
    """
    late = tuple(judge(c, {}, codes) for c in procedure.criteria if isinstance(c, CodeAbsent))
    for judgement in late:
        ports.journal.append(b.CriterionJudged(run.started.run, judgement))
    verdict, message = whole_of((*run.judgements, *late))
    ports.journal.append(b.RunEnded(run.started.run, RunEnd.COMPLETED, verdict, message))
    return verdict


def whole_of(judgements: tuple[Judgement, ...]) -> tuple[Verdict | None, Message]:
    """Verdict of a run and its sentence; None where nothing was to be judged."""
    if not judgements:
        return None, say("run.no-proof", "done; it asks for no proof of its own")
    verdict = overall(judgements)
    if verdict is Verdict.PASS:
        return verdict, say("run.verdict", "PASS: every criterion")
    names = ", ".join(j.name for j in judgements if j.verdict is verdict)
    text = "{verdict}: {names}"
    return verdict, say("run.verdict-because", text, verdict=_WORDS[verdict], names=names or "nothing was judged")
