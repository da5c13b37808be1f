"""The proof of a run: what the saved recordings show, and in the end what the trouble codes show."""

from __future__ import annotations

from collections.abc import Sequence

from asleft.book.procedure import Procedure
from asleft.event import body as b
from asleft.event.fold import RunState
from asleft.model.message import Message, say
from asleft.model.reading import Series
from asleft.model.step_more import AnyStep
from asleft.model.verdict import Judgement, RunEnd, Verdict, overall
from asleft.proof.attempts import settled
from asleft.proof.codes import CodesSeen
from asleft.proof.criteria import judge
from asleft.proof.criterion_data import CodeAbsent, Criterion

from .causes import name_causes_of_proof
from .log import RunPorts
from .states import State, Turn

#: Id of the step that judges what was measured: once it stands in the record, only the end of the job decides the rest.
PROOF = "proof"

_WORDS = {Verdict.PASS: "PASS", Verdict.FAIL: "FAIL", Verdict.CANNOT_TELL: "CANNOT TELL"}


def judge_samples(
    criteria: tuple[Criterion, ...], samples: dict[str, tuple[Series, ...]], steps: Sequence[AnyStep] = ()
) -> tuple[Judgement, ...]:
    """Every criterion that recordings of this way decide.

    Args: steps: of the way; a criterion on a recording that this way does not make belongs to another way.
    """
    saves = {save for step in steps if (save := getattr(step, "save", ""))}
    judged = (c for c in criteria if not isinstance(c, CodeAbsent))
    return tuple(judge(c, samples) for c in judged if not steps or c.saved in saves)


def conclude(ports: RunPorts, run: RunState, procedure: Procedure, codes: CodesSeen | None) -> Verdict | None:
    """Judge what only shows after the clear and the key cycles, and end the run.

    Args: codes: what was read of the modules in the end; None: not read.
    Returns: the verdict of the whole; None for a procedure without criteria.
    Raises: RecordError.
    """
    late = tuple(judge(c, {}, codes) for c in procedure.criteria if isinstance(c, CodeAbsent))
    counted = counted_of(run)
    for judgement in (*(j for j in counted if j not in run.judgements), *late):
        ports.journal.append(b.CriterionJudged(run.started.run, judgement))
    verdict, message = whole_of((*counted, *late))
    name_causes_of_proof(ports, run.started.run, procedure, (*counted, *late))
    ports.journal.append(b.RunProgress(run.started.run, State.ENDED.value, Turn.CONCLUDED.value))
    ports.journal.append(b.RunEnded(run.started.run, RunEnd.COMPLETED, verdict, message))
    return verdict


def counted_of(run: RunState) -> tuple[Judgement, ...]:
    """What counts of a run's measurements, also when a declared retest was cut off."""
    if not run.earlier:
        return run.judgements
    before = run.earlier[-1]
    return settled(before.judgements, run.judgements, changed=before.retest.changed)


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
