"""The one declared retest of a run: asked for when the proof is no PASS, declared with a reason before it is measured.

Only what records and has no effect is done again, and only what came after the last effect; both attempts are kept.
"""

from __future__ import annotations

from collections.abc import Sequence

from asleft.event import body as b
from asleft.model.errors import RunError
from asleft.model.message import say
from asleft.model.question import Question, QuestionKind
from asleft.model.step import RoutineResult
from asleft.model.step_more import AnyStep, any_effect_of
from asleft.model.verdict import Judgement, Verdict, overall
from asleft.proof.attempts import MOST_ATTEMPTS, may_retest

from .asking import STOP, ask, ask_choice
from .log import RunLog

#: Answers to what is to become of a proof that is no PASS.
STANDS = "let it stand"
ONCE_MORE = "measure once more, nothing was changed"
CHANGED = "measure once more, something was changed"

_WORDS = {Verdict.PASS: "PASS", Verdict.FAIL: "FAIL", Verdict.CANNOT_TELL: "CANNOT TELL"}


def steps_again(steps: Sequence[AnyStep]) -> tuple[AnyStep, ...]:
    """From the first recording after the last effect on: what needs no receipt and asks nothing of a routine."""
    last = max((i for i, step in enumerate(steps) if any_effect_of(step).needs_receipt), default=-1)
    after = [step for step in steps[last + 1 :] if not isinstance(step, RoutineResult)]
    first = next((i for i, step in enumerate(after) if getattr(step, "save", "")), len(after))
    return tuple(after[first:])


async def declared(log: RunLog, judgements: tuple[Judgement, ...], attempts: int) -> b.RetestDeclared | None:
    """Ask whether to measure once more; what was declared, or None when the first attempt stands.

    Args: judgements: of the attempt that ended. attempts: how many were made.
    """
    if may_retest(judgements, attempts) is not None:
        return None
    verdict = overall(judgements)
    names = ", ".join(j.name for j in judgements if j.verdict is verdict)
    text = "The proof says {verdict}: {names}. It may be measured once more, and both results are kept."
    message = say("retest.ask", text, verdict=_WORDS[verdict], names=names)
    try:
        answer = await ask_choice(log, message, (STANDS, ONCE_MORE, CHANGED))
        if answer.text not in (ONCE_MORE, CHANGED):
            return None
        changed = await _typed(log, "retest.changed", "What was changed in between?") if answer.text == CHANGED else ""
        reason = await _typed(log, "retest.reason", "Why is it measured once more?")
    except RunError:  # stop: the first attempt stands, and whoever stopped is heard after it
        return None
    return b.RetestDeclared(log.run, MOST_ATTEMPTS, answer.by, reason, changed)


async def _typed(log: RunLog, message: str, text: str) -> str:
    question = Question(log.number("q"), QuestionKind.TYPE, say(message, text), (STOP,))
    return (await ask(log, question)).text
