"""Waiting for a condition, and having a person type a value from the page or the part."""

from __future__ import annotations

from asleft.coding.component_code import CodeForm, must_fit
from asleft.model.condition import ConditionState
from asleft.model.errors import Code, InputError, RunError
from asleft.model.message import Message, say
from asleft.model.question import Question, QuestionKind
from asleft.model.reading import Series
from asleft.model.step_more import TypeIn, WaitUntil

from .asking import STOP, ask
from .context import RunContext

#: Between two looks, s.
EVERY_S = 1.0


async def wait_until(run: RunContext, step: WaitUntil) -> None:
    """Wait until the condition holds, with the interlocks watched.

    Raises: RunError: waited-in-vain after ``timeout_s``, with the value and the limit; interlock-broken;
        stopped-by-person.
    """
    clock, gate = run.ports.clock, run.gate_of(step.condition)
    until = clock.now() + step.timeout_s
    with run.log.step(step.id, say("step.wait", "{text}", text=step.text)) as end:
        while True:
            (result,) = await gate.look()
            gate.note((result,), "waiting")
            if result.state is ConditionState.MET:
                end.message = say("wait.met", "{text}: holds", text=step.condition.text)
                return
            await run.locks.look()
            run.locks.check()
            if clock.now() >= until:
                why = result.reason.text if result.reason else step.condition.text
                raise RunError(Code.WAITED_IN_VAIN, why, step.id)
            await clock.sleep_until(clock.now() + EVERY_S)


async def type_in(run: RunContext, step: TypeIn) -> str:
    """Have a value typed, twice where the step says so; what does not fit is refused with its reason.

    Returns: the value, also kept under ``run.typed[step.save]``.
    Raises: RunError (stopped-by-person).
    """
    with run.log.step(step.id, say("step.type", "{text}", text=step.text)) as end:
        hint = say("type.first", "{text}", text=_asked(step))
        while True:
            first = await _typed(run, hint)
            why = complaint(step, first) or _taken(run, step, first)
            if why is not None:
                hint = say("type.again", "{why} Type it again: {text}", why=why.text, text=_asked(step))
                continue
            if step.twice:
                second = await _typed(run, say("type.second", "Once more, from the page: {text}", text=_asked(step)))
                if not same(step, first, second):
                    text = "The two do not agree{where}. From the beginning: {text}"
                    hint = say("type.differs", text, where=_where(step, first, second), text=_asked(step))
                    continue
            run.typed[step.save] = first
            if step.signal:
                _keep_reading(run, step, float(first))
            end.message = say("type.done", "{value} {unit}", value=first, unit=step.unit)
            return first


def _keep_reading(run: RunContext, step: TypeIn, value: float) -> None:
    """A gauge's reading goes into the record like any other recording, with the gauge's own step and error."""
    now_s = run.ports.clock.now()
    run.log.samples(step.save, (Series(step.signal, step.unit, (now_s,), (value,), step.resolution, step.accuracy),))


async def _typed(run: RunContext, hint: Message) -> str:
    question = Question(run.log.number("q"), QuestionKind.TYPE, hint, (STOP,))
    text = (await ask(run.log, question)).text.strip()
    if text == STOP:
        raise RunError(Code.STOPPED_BY_PERSON)
    return text


def complaint(step: TypeIn, text: str) -> Message | None:
    """Why a typed text cannot be; None when it can. Numbers have a point, no thousands."""
    if step.letters and step.length:
        return _code_complaint(step, text)
    if step.letters and (wrong := sorted(set(text) - set(step.letters))):
        return say("type.letters", "{wrong} cannot stand in it.", wrong=" ".join(wrong))
    if step.length and len(text) != step.length:
        return say("type.length", "It has {n} characters, not {m}.", n=step.length, m=len(text))
    if step.low is None and step.high is None and not step.signal:
        return None if text else say("type.empty", "Nothing was typed.")
    try:
        value = float(text)
    except ValueError:
        return say("type.number", "{text} is no number.", text=text or "nothing")
    low = step.low is not None and not value >= step.low
    high = step.high is not None and not value <= step.high
    if low or high:
        limit = f"{step.low:g}" if low else f"{step.high:g}"
        text = "{value} lies outside: the limit is {limit} {unit}."
        return say("type.limit", text, value=f"{value:g}", limit=limit, unit=step.unit)
    return None


def _code_complaint(step: TypeIn, text: str) -> Message | None:
    """Why a code printed on a part cannot be: length, a look-alike character, the check character."""
    try:
        must_fit(CodeForm(step.length, step.letters, step.weights, step.modulus), text)
    except InputError as error:
        return say("type.code", "{why}.", why=error.detail[:1].upper() + error.detail[1:])
    return None


def _taken(run: RunContext, step: TypeIn, text: str) -> Message | None:
    """Why a code cannot be this part's: another part bears it."""
    other = next((save for save in step.unlike if run.typed.get(save) == text), None)
    return None if other is None else say("type.taken", "{other} has the same code; look at both parts.", other=other)


def _where(step: TypeIn, first: str, second: str) -> str:
    """Which place differs, for codes; never what was typed first."""
    if not step.letters or len(first) != len(second):
        return ""
    return f" at place {next(n for n, (a, b) in enumerate(zip(first, second, strict=True), 1) if a != b)}"


def same(step: TypeIn, first: str, second: str) -> bool:
    """Whether both typings mean the same: numbers by value, all else to the letter."""
    if step.low is None and step.high is None and not step.signal:
        return first == second
    try:
        return float(first) == float(second)
    except ValueError:
        return False


def _asked(step: TypeIn) -> str:
    return f"{step.text} ({step.unit})" if step.unit else step.text
