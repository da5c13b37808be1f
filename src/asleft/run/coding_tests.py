"""After a coding: it is read again, and each changed option is tried at the car and ticked."""

from __future__ import annotations

import msgspec

from asleft.book.layouts import own_layout
from asleft.book.printed import two_bytes
from asleft.model.errors import Code, ModuleError, RunError
from asleft.model.message import say
from asleft.model.step_coding import FunctionTests

from .asking import STOP, ask_choice
from .coding import Changed
from .context import RunContext
from .writing import read_bytes

WORKS, FAILS, NOT_TRIED = "works", "does not work", "not tried"


async def function_tests(run: RunContext, step: FunctionTests) -> None:
    """Read the coding again and try what changed.

    Raises: ModuleError (coding-differs): it is not what was written. RunError: function-failed after all were tried.
    """
    kept = msgspec.json.decode(run.typed[step.of].encode(), type=Changed)
    layout = own_layout(kept.layout)
    with run.log.step(step.id, say("step.tests", "try each changed option")) as end:
        now = await read_bytes(run.ports, run.module.address, two_bytes(layout.identifier, layout.printed))
        if now != bytes.fromhex(kept.coding):
            raise ModuleError(Code.CODING_DIFFERS, now.hex(" ").upper(), run.module.address.name)
        told: dict[str, list[str]] = {WORKS: [], FAILS: [], NOT_TRIED: []}
        for change in kept.changes:
            if not change.test:
                continue
            text = say("coding.try", "{what}. Try: {test}", what=change.text, test=change.test)
            answer = await ask_choice(run.log, text, (WORKS, FAILS, NOT_TRIED, STOP))
            told[answer.text].append(change.name)
        words = "{works} work; not tried: {open}; nothing to see: {dark}"
        dark = ", ".join(c.name for c in kept.changes if not c.test) or "none"
        left = ", ".join(told[NOT_TRIED]) or "none"
        end.message = say("coding.tried", words, works=len(told[WORKS]), open=left, dark=dark)
        if told[FAILS]:
            raise RunError(Code.FUNCTION_FAILED, ", ".join(told[FAILS]), step.id)
