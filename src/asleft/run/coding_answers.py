"""What each option becomes: witnesses asked, and a person where they do not suffice."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import TypeVar

from asleft.book.printed import two_bytes
from asleft.coding.decode import decode
from asleft.coding.layout import Layout, Option
from asleft.coding.values import Value, allowed_text, parse_value, words_of
from asleft.coding.witness import Witness, WitnessKind, propose
from asleft.event import body as b
from asleft.model.errors import AsleftError, Code, InputError, LinkError
from asleft.model.message import Message, say
from asleft.model.module import ModuleAddress, ModulePicture
from asleft.model.question import Question, QuestionKind

from .asking import STOP, ask, ask_choice
from .context import RunContext
from .writing import read_bytes

T = TypeVar("T")
RIGHT, CHANGE = "they are right", "change an option"


@dataclass
class Options:
    """Values by option, and who says so."""

    values: dict[str, Value] = field(default_factory=dict[str, Value])
    why: dict[str, str] = field(default_factory=dict[str, str])


async def settle_options(run: RunContext, layout: Layout, fitted: bytes, received: bytes | None) -> Options:
    """A value for every option. Raises: RunError (stopped-by-person); LinkError."""
    witnesses = _held(layout, WitnessKind.AS_RECEIVED, "as received", received)
    if not layout.is_blank(fitted):
        witnesses += _held(layout, WitnessKind.FOUND, "the fitted module", fitted)
    witnesses += await _neighbours(run, layout)
    options, alone = Options(), list[str]()
    for option, proposal in zip(layout.options, propose(layout, witnesses), strict=True):
        said = [w for w in witnesses if w.option == option.id]
        if proposal.value is not None:
            options.values[option.id], options.why[option.id] = proposal.value, proposal.why
            if not proposal.agreed:
                alone.append(f"{option.name}: {words_of(option, proposal.value)} ({said[0].who})")
        elif said:
            options.values[option.id], options.why[option.id] = await _chosen(run, option, said)
        else:
            options.values[option.id] = await _typed_twice(run, f"{option.name} ({allowed_text(option)})", _of(option))
            options.why[option.id] = "typed twice from paper"
    await _right(run, layout, options, tuple(alone))
    return options


def _held(layout: Layout, kind: WitnessKind, who: str, data: bytes | None) -> list[Witness]:
    read = () if data is None else decode(layout, data).options
    return [Witness(o.option, kind, o.value, who) for o in read if o.value is not None]


async def _neighbours(run: RunContext, layout: Layout) -> list[Witness]:
    """What other modules say; one that does not answer or is in no picture says nothing, and that is noted."""
    known = {m.address.name: m.address for m in _modules(run)}
    answers: dict[tuple[str, int], bytes] = {}
    found: list[Witness] = []
    for option in layout.options:
        for one in option.neighbours:
            place = one.module, two_bytes(one.identifier, one.printed)
            if place not in answers:
                answers[place] = b""
                if one.module in known:
                    answers[place] = await _asked(run, known[one.module], place[1])
            value = one.value(answers[place])
            if value is not None:
                found.append(Witness(option.id, WitnessKind.NEIGHBOUR, value, one.module))
    return found


def _modules(run: RunContext) -> tuple[ModulePicture, ...]:
    pictures = [e.body.picture for e in run.ports.journal.events() if isinstance(e.body, b.PictureTaken)]
    return (*run.request.reached, *(m for p in pictures for m in p.modules))


async def _asked(run: RunContext, target: ModuleAddress, identifier: int) -> bytes:
    try:
        return await read_bytes(run.ports, target, identifier)
    except LinkError:
        raise
    except AsleftError as error:
        run.log.write(b.Noted(say("coding.mute", "{who} says nothing: {why}", who=target.name, why=error.sentence())))
        return b""


async def _chosen(run: RunContext, option: Option, said: list[Witness]) -> tuple[Value, str]:
    offered: dict[str, Value] = {}
    for one in said:
        offered.setdefault(words_of(option, one.value), one.value)
    told = "; ".join(f"{w.who}: {words_of(option, w.value)}" for w in said)
    text = say("coding.contradict", "{name}: they contradict each other ({said}). Which has this car?",
               name=option.name, said=told)  # fmt: skip
    answer = await ask_choice(run.log, text, (*offered, STOP))
    return offered[answer.text], f"chosen by {answer.by}: {told}"


async def _right(run: RunContext, layout: Layout, options: Options, alone: tuple[str, ...]) -> None:
    """What one witness alone says is confirmed; any option can still be changed, typed twice."""
    while True:
        text = say("coding.alone", "{n} option(s) rest on one witness. Are they right for this car?", n=len(alone))
        question = Question(run.log.number("q"), QuestionKind.CHOOSE, text, (RIGHT, CHANGE, STOP), details=alone)
        if (await ask(run.log, question)).text != CHANGE:
            return
        names = ", ".join(o.id for o in layout.options)
        option, value = await _typed_twice(run, f"option=value, of {names}", lambda t: _pair(layout, t))
        options.values[option], options.why[option] = value, "typed twice from paper"


def _of(option: Option) -> Callable[[str], Value]:
    return lambda text: parse_value(option, text)


def _pair(layout: Layout, text: str) -> tuple[str, Value]:
    name, _, value = text.partition("=")
    option = layout.option(name.strip())
    if option is None:
        raise InputError(Code.CODING_REFUSED, f"{name} is no option of it", layout.id)
    return option.id, parse_value(option, value)


async def _typed_twice(run: RunContext, what: str, read: Callable[[str], T]) -> T:
    """Typed, and typed again without sight of the first; what does not fit or differs begins anew with its reason."""
    hint = ""
    while True:
        try:
            first = read(await _typed(run, say("coding.first", "{hint}From paper: {what}", hint=hint, what=what)))
            again = read(await _typed(run, say("coding.second", "Once more, from paper: {what}", what=what)))
        except InputError as error:
            hint = f"{error.detail}. "
            continue
        if first == again:
            return first
        hint = "The two do not agree. "


async def _typed(run: RunContext, message: Message) -> str:
    return (await ask(run.log, Question(run.log.number("q"), QuestionKind.TYPE, message, (STOP,)))).text
