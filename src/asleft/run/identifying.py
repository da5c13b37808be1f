"""Which routine identifier: typed from the manual as printed, or chosen by an exact match. Nothing is guessed."""

from __future__ import annotations

from asleft.book.identifier import Identifier, choose, parse
from asleft.book.procedure import Procedure
from asleft.event import body as b
from asleft.model.errors import Code, InputError
from asleft.model.message import Message, say
from asleft.model.module import ModulePicture
from asleft.model.question import Question, QuestionKind
from asleft.model.reading import to_hex

from .asking import STOP, ask
from .log import RunLog

FROM_MANUAL = "type it from the manual"


async def find_identifier(log: RunLog, procedure: Procedure, module: ModulePicture) -> Identifier:
    """The routine identifier for exactly this module: chosen from the source's rows, or typed from the manual.

    Raises: InputError: no-exact-match where it may not be typed. RunError (stopped-by-person).
    """
    wanted = procedure.identifier
    assert wanted is not None
    part, software = module.value("part-number"), module.value("software-number")
    try:
        choice = choose(wanted.rows, part, software, wanted.printed)
    except InputError as error:
        log.write(b.Noted(say("identifier.none", "{why}", why=error.sentence())))
        return await _type_identifier(log, procedure)
    choices = (choice.row.row, FROM_MANUAL, STOP) if wanted.typed else (choice.row.row, STOP)
    question = Question(
        log.number("q"),
        QuestionKind.CHOOSE,
        say("identifier.choose", "Routine identifier for this module: {row}", row=choice.shown.text),
        choices,
        details=(choice.identifier.shown.text,),
    )
    answer = await ask(log, question)
    if answer.text == FROM_MANUAL:
        return await _type_identifier(log, procedure)
    _chosen(log, choice.identifier, "chosen by exact part and software number", choice.shown)
    return choice.identifier


async def _type_identifier(log: RunLog, procedure: Procedure) -> Identifier:
    wanted = procedure.identifier
    assert wanted is not None
    if not wanted.typed:
        raise InputError(Code.NO_EXACT_MATCH, where=procedure.id)
    hint = say(
        "identifier.type",
        "Type the routine identifier as the manual prints it ({form}). {where}",
        form=wanted.printed.value,
        where=wanted.where,
    )
    while True:
        answer = await ask(log, Question(log.number("q"), QuestionKind.TYPE, hint, (STOP,)))
        try:
            identifier = parse(answer.text, wanted.printed)
        except InputError as error:
            hint = say("identifier.again", "{why} Type it again.", why=error.sentence())
            continue
        consent = await ask(
            log,
            Question(log.number("q"), QuestionKind.CHOOSE, identifier.shown, ("as on the page", "type again", STOP)),
        )
        if consent.text == "as on the page":
            _chosen(log, identifier, f"typed from the manual by {consent.by}", identifier.shown)
            return identifier


def _chosen(log: RunLog, identifier: Identifier, how: str, row: Message) -> None:
    log.write(b.IdentifierChosen(log.run, identifier.value, how, identifier.printed, to_hex(identifier.request), row))
