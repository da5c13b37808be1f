"""The other tester's turn: our picture, silence, the person's marks, our picture again, its report by content.

One tester on the plug at a time (TRADE 2.13): while the other works nothing of ours goes out, not even tester present.
What happens meanwhile is not watched, and the record says so.
"""

from __future__ import annotations

import re

from asleft.event import body as b
from asleft.model.message import say
from asleft.model.question import Answer, Question, QuestionKind
from asleft.model.step_more import TesterTurn

from .asking import STOP, ask, ask_choice
from .context import RunContext
from .routine import EMERGENCY

NO_REPORT = "it gives no report"
#: How an attached document is named in an answer: hash, size in bytes, file name.
_ATTACHED = re.compile(r"sha256:(?P<hash>[0-9a-f]{64}) (?P<size>\d+) (?P<name>[^\r\n]{1,200})")


def attached_text(sha256: str, size: int, name: str) -> str:
    """The answer that attaches a document; the engine's ``attach`` command gives it back to the page."""
    return f"sha256:{sha256} {size} {' '.join(name.split())[:200]}"


async def tester_turn(run: RunContext, step: TesterTurn) -> None:
    """Have the other tester do it.

    Raises: RunError (stopped-by-person); LinkError: link-lost, seen when our turn comes again.
    """
    with run.log.step(step.id, say("step.tester", "{text}", text=step.text)) as end:
        await run.open_gate()
        await run.ports.conversation.close_sessions()
        await _look(run, step, "before-tester")
        said = await _their_turn(run, step)
        await _look(run, step, "after-tester")
        if step.report:
            await _report(run, step)
        end.message = say("tester.said", "the other tester: {said} (declared by {by})", said=said.text, by=said.by)


async def _their_turn(run: RunContext, step: TesterTurn) -> Answer:
    """From the start mark to the end mark nothing is asked of the car."""
    log = run.log
    begin_s = run.ports.clock.now()
    async with run.ports.quiet():
        text = "Unplug our interface, plug in the other tester. {text} Press when you press start on it."
        start = await ask(
            log,
            Question(
                log.number("q"),
                QuestionKind.ACT,
                say("tester.start", text, text=step.text),
                ("started", STOP),
                act=step.act,
                details=(EMERGENCY, "Our screen watches nothing until the end is marked."),
            ),
        )
        log.write(b.PersonMarked(log.run, step.id, "start", start.text, start.by), actor=start.by)
        message = say("tester.end", "Press what the other tester says, when it says so. Then plug us in again.")
        end = await ask_choice(log, message, (*step.ends, STOP))
        log.write(b.PersonMarked(log.run, step.id, "end", end.text, end.by), actor=end.by)
    why = say("tester.blind", "the other tester was on the plug: nothing was asked, its answers were not heard")
    log.write(b.NotWatched(log.run, step.id, begin_s, run.ports.clock.now(), why))
    return end


async def _look(run: RunContext, step: TesterTurn, when: str) -> None:
    """Our picture of the module; the key is as the person left it, so a silent module is in the picture as silent."""
    if run.ports.look is not None:
        picture = await run.ports.look(run.module.address)
        run.log.write(b.ModulePictureTaken(run.log.run, step.id, when, picture))


async def _report(run: RunContext, step: TesterTurn) -> None:
    """The report of the other tester, by its content; or that there is none."""
    hint = say("tester.report", "Attach the other tester's report or a photo of its screen.")
    while True:
        question = Question(run.log.number("q"), QuestionKind.TYPE, hint, (NO_REPORT, STOP), act="attach")
        answer = await ask(run.log, question)
        if answer.text == NO_REPORT:
            run.log.write(
                b.Noted(say("tester.no-report", "no report of the other tester (said by {by})", by=answer.by))
            )
            return
        found = _ATTACHED.fullmatch(answer.text.strip())
        if found is not None:
            name, digest, size = found["name"], found["hash"], int(found["size"])
            body = b.DocumentAttached(run.log.run, step.id, name, digest, size, answer.by)
            run.log.write(body, actor=answer.by)
            return
        hint = say("tester.report-again", "That is no attached document. Attach its file, or say that there is none.")
