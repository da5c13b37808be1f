"""One handler a step: the closed union of steps, taken apart."""

from __future__ import annotations

from typing import assert_never

from asleft.model.errors import Code, InputError
from asleft.model.message import say
from asleft.model.question import Question, QuestionKind
from asleft.model.step import Ask, Clear, KeyCycle, Observe, RoutineResult, RoutineStart, Session, Tell
from asleft.model.step_coding import Coding, FunctionTests
from asleft.model.step_more import (
    Access,
    Actuate,
    AnyStep,
    DriveSegment,
    Read,
    RestartModule,
    RoutineStop,
    TesterTurn,
    TimedSequence,
    TypeIn,
    WaitUntil,
    Write,
    words_of,
)

from .access import open_access
from .actuating import actuate, stop_routine
from .agreeing import must_agree
from .asking import STOP, ask, confirm
from .beside import tester_turn
from .clearing import clear_codes
from .coaching import timed_sequence
from .coding import coding_step
from .coding_tests import function_tests
from .context import RunContext
from .driving import drive_segment
from .session import session_step
from .waiting import type_in, wait_until
from .watching import key_cycle, observe
from .writing import read_step, restart_step, write_step

#: Steps without a handler yet: a way that holds one is refused before anything is asked or sent.
UNHANDLED: tuple[type, ...] = ()


def must_be_handled(steps: tuple[AnyStep, ...]) -> None:
    """Raises InputError: step-unhandled, the first that cannot be carried out."""
    for step in steps:
        if isinstance(step, UNHANDLED):
            raise InputError(Code.STEP_UNHANDLED, f"{step.id}, {words_of(step)}")


async def carry_out_step(run: RunContext, step: AnyStep) -> None:
    """Carry out one step, whatever it is; it leaves its start, stop, duration and outcome.

    Raises: as its handler.
    """
    match step:
        case Tell() | Ask() | Observe() | KeyCycle():
            await _with_person(run, step)
        case TimedSequence() | TesterTurn() | DriveSegment() | TypeIn() | WaitUntil():
            await _by_hand(run, step)
        case Session() | RoutineStart() | RoutineResult() | RoutineStop() | Clear() | Actuate() | Access():
            await _by_wire(run, step)
        case Read():
            await read_step(run, step)
        case Write():
            await write_step(run, step)
        case RestartModule():
            await restart_step(run, step)
        case Coding():
            await coding_step(run, step)
        case FunctionTests():
            await function_tests(run, step)
        case _:
            assert_never(step)


async def _by_hand(run: RunContext, step: TimedSequence | TesterTurn | DriveSegment | TypeIn | WaitUntil) -> None:
    match step:
        case TimedSequence():
            await timed_sequence(run, step)
        case TesterTurn():
            await tester_turn(run, step)
        case DriveSegment():
            await drive_segment(run, step)
        case TypeIn():
            await type_in(run, step)
        case WaitUntil():
            await wait_until(run, step)


async def _with_person(run: RunContext, step: Tell | Ask | Observe | KeyCycle) -> None:
    log = run.log
    match step:
        case Tell(step_id, text, cautions):
            with log.step(step_id, say("step.tell", "{text}", text=text)):
                await confirm(log, say("tell", "{text}", text=text), cautions=cautions, yes="read")
        case Ask(step_id, text, choices):
            with log.step(step_id, say("step.ask", "{text}", text=text)) as end:
                message = say("ask", "{text}", text=text)
                question = Question(log.number("q"), QuestionKind.CHOOSE, message, (*choices, STOP), act=step.act)
                answer = await ask(log, question)
                end.message = say("ask.answer", "declared: {answer}", answer=answer.text)
                await must_agree(run, step, answer.text)
        case Observe():
            await observe(log, step, run.locks)
        case KeyCycle():
            await key_cycle(log, step, run.locks)


_Wire = Session | RoutineStart | RoutineResult | RoutineStop | Clear | Actuate | Access


async def _by_wire(run: RunContext, step: _Wire) -> None:
    match step:
        case Session():
            await session_step(run, step)
        case RoutineStart():
            await run.open_gate()
            steps = run.procedure.ways.steps(run.request.way)
            results = (s for s in steps if isinstance(s, RoutineResult))
            result = next((s for s in results if s.identifier == step.identifier), None)
            run.need_routine().use(step.identifier)
            await run.need_routine().start(step, result)
        case RoutineResult():
            run.need_routine().use(step.identifier)
            await run.need_routine().watch(step, run.locks)
        case RoutineStop():
            await stop_routine(run, step)
        case Actuate():
            await actuate(run, step)
        case Access():
            await open_access(run, step)
        case Clear():
            await clear_codes(run.log, step, run.request.reached or (run.module,))
