"""What stays open on a job, the most pressing first: for page 1 and for the details. Pure."""

from __future__ import annotations

from asleft.event.body import DifferencesFound, FactStated, ItemLeftOpen, NeedsFound, QuestionAsked
from asleft.model.effect import Settlement
from asleft.model.fact import FactKey
from asleft.model.module import PictureKind
from asleft.model.verdict import Verdict

from .parts import Line
from .traced import Traced
from .verdicts import Outcome, not_run
from .words import Words


def open_lines(record: Traced, found: list[Outcome], w: Words) -> list[Line]:
    """Everything that stays open, the most pressing first."""
    lines = [*_unsettled(record, w), *_not_proved(record, found, w)]
    for number, body in record.of(ItemLeftOpen):
        lines.append(Line(f"{body.item}: {w.said(body.message)}", (number.sequence,), "open"))
    stated = set(record.state.open_items)
    needs = record.numbers(NeedsFound)[-1:]
    for need in not_run(record):
        if need.function not in stated:
            lines.append(Line(w("open.need", name=need.name, grade=w(f"grade.{need.grade.value}")), needs, "open"))
    for question, answer in record.state.questions.values():
        if answer is None:
            asked = record.numbers(QuestionAsked, lambda b, q=question: b.question.id == q.id)
            lines.append(Line(w("open.question", text=w.said(question.message)), asked, "open"))
    for event, body in record.of(FactStated, lambda b: b.fact.key in (FactKey.FOLLOW_UP, FactKey.DECLINED)):
        lines.append(Line(f"{w(f'fact.{body.fact.key.value}')}: {body.fact.text}", (event.sequence,), "open"))
    return [*lines, *_monitors(record, w), *_unexplained(record, w)]


def _unsettled(record: Traced, w: Words) -> list[Line]:
    lines: list[Line] = []
    for effect in record.state.effects.values():
        intent = effect.intent
        word = {None: "open.unsettled", Settlement.PERSON_MUST_DECIDE: "open.decide"}.get(effect.settlement)
        if word:
            text = w(word, target=intent.target.text, why=intent.why)
            lines.append(Line(text, record.effect_numbers(intent.id), "fail"))
    return lines


def _not_proved(record: Traced, found: list[Outcome], w: Words) -> list[Line]:
    lines: list[Line] = []
    for outcome in found:
        if outcome.attempt != outcome.attempts:
            continue
        if outcome.verdict is Verdict.FAIL:
            said = outcome.sentence.removeprefix("FAIL:").strip()
            failed = w("open.failed", name=outcome.started.name, said=said)
            lines.append(Line(failed, outcome.events, "fail"))
        for numbers, judgement in record.judged(outcome.started.run):
            if judgement.verdict is Verdict.CANNOT_TELL and judgement.settles:
                text = w("open.cannot-tell", name=judgement.name, settles=w.said(judgement.settles))
                lines.append(Line(text, numbers, "cannot-tell"))
    return lines


def _monitors(record: Traced, w: Words) -> list[Line]:
    """Readiness monitors that the last picture found incomplete."""
    numbers, picture = record.picture(PictureKind.AS_LEFT)
    notes = picture.notes if picture else ()
    names = [n.name for n in notes if "readiness" in n.key and n.value.lower() in ("incomplete", "not complete")]
    return [Line(w("monitors.open", names=", ".join(names)), numbers, "open")] if names else []


def _unexplained(record: Traced, w: Words) -> list[Line]:
    pair = (PictureKind.AS_FOUND, PictureKind.AS_LEFT)
    count = sum(d.intended is not True for d in record.state.differences.get(pair, ()))
    events = record.numbers(DifferencesFound, lambda b: (b.before, b.after) == pair)
    return [Line(w("open.differs", count=count), events, "open")] if count else []
