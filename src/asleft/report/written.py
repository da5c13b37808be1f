"""What was written into modules, old and new side by side, and each difference in the words consented to. Pure.

The words and the old bytes stand in the question that a person confirmed; without it the paper says that they are not
on the record.
"""

from __future__ import annotations

from asleft.event import body as b
from asleft.model.effect import Effect, Settlement
from asleft.model.question import Question, QuestionKind

from .parts import Block, Cell, Events, Row, Table, row
from .traced import Traced
from .words import Words

#: How ``run.writing`` begins the lines of its question: where to, what is there now. What stands before is in words.
_TO, _NOW = "to ", "now "
#: WriteDataByIdentifier: service and identifier before the data. Source: ISO 14229-1:2020, 11.7.
_HEAD = 3


def written(record: Traced, run: str, w: Words) -> list[Block]:
    """One line for each write of a run."""
    rows: list[Row] = []
    for event, body in record.of(b.IntentWritten, lambda i: i.intent.run == run):
        intent = body.intent
        if intent.effect is not Effect.WRITES:
            continue
        asked, question = _consent(record, run, event.sequence)
        details = question.details if question else ()
        old = next((d.removeprefix(_NOW) for d in details if d.startswith(_NOW)), "")
        place = next((n for n, d in enumerate(details) if d.startswith(_TO)), 0)
        new = bytes.fromhex(intent.payload)[_HEAD:].hex(" ").upper()
        effect = record.state.effects[intent.id]
        mark = "" if effect.settlement in (Settlement.DONE, Settlement.RESTORED) else "open"
        settled = w(f"settlement.{effect.settlement.value}") if effect.settlement else w("settlement.none")
        cells = (
            f"{intent.target.name}: {intent.why}",
            Cell(old, "bytes") if old else Cell(w("written.no-old"), "open"),
            Cell(new, "bytes"),
            Cell(settled, mark),
        )
        events = (*asked, *record.effect_numbers(intent.id))
        rows.append(row(*cells, events=events, note="\n".join(details[:place])))
    head = tuple(w(f"written.{h}") for h in ("what", "old", "new", "settled"))
    return [Table(w("written.title"), head, (4, 5, 5, 3), tuple(rows))] if rows else []


def _consent(record: Traced, run: str, before: int) -> tuple[Events, Question | None]:
    """The question whose answer let the effect go: the last one of its kind asked in the run before it."""
    asked = [
        (event.sequence, body.question)
        for event, body in record.of_run(b.QuestionAsked, run)
        if event.sequence < before and body.question.kind is QuestionKind.EFFECT
    ]
    if not asked:
        return (), None
    number, question = asked[-1]
    answered = record.numbers(b.QuestionAnswered, lambda a: a.answer.question == question.id)
    return (number, *answered), question
