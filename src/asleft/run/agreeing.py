"""Answers that a signal must agree with: a declared answer that is measured to be otherwise ends the run."""

from __future__ import annotations

from asleft.model.errors import Code, RunError
from asleft.model.step import Ask

from .context import RunContext

#: How long the signal may take to agree, beside the condition's own hold, s. Our own choice.
AGREE_S = 5.0


async def must_agree(run: RunContext, step: Ask, answer: str) -> None:
    """Look whether the signals agree with an answer. Raises RunError: gate-closed, naming answer and signal."""
    conditions = tuple(agree.condition for agree in step.agree if agree.answer == answer)
    if not conditions:
        return
    try:
        await run.gate_of(*conditions).open(AGREE_S + max(c.hold_s for c in conditions))
    except RunError as error:
        if error.code is not Code.GATE_CLOSED:
            raise
        raise RunError(Code.GATE_CLOSED, f'"{answer}" was answered, but: {error.detail}', step.id) from error
