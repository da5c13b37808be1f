"""What stays open on a job, the most pressing first: for page 1 and for the details. Pure."""

from __future__ import annotations

from asleft.event.body import DifferencesFound, FactStated, ItemLeftOpen, NeedsFound, QuestionAsked
from asleft.model.effect import Settlement
from asleft.model.fact import FactKey
from asleft.model.module import PictureKind
from asleft.model.verdict import Rule, Verdict

from .parts import Line
from .traced import Traced
from .verdicts import Outcome, not_run
from .words import Words

#: What a person writes for nothing.
_NOTHING = frozenset({"none", "nothing", "no", "-", "–", "keine", "nichts", "nein"})


def open_lines(record: Traced, found: list[Outcome], w: Words) -> list[Line]:
    """Everything that stays open, the most pressing first."""
    lines = [*_unsettled(record, w), *_not_proved(record, found, w)]
    for number, body in record.of(ItemLeftOpen):
        said = w.said(body.message)
        text = body.item if said and body.item.endswith(said) else f"{body.item}: {said}"
        lines.append(Line(text, (number.sequence,), "open"))
    stated = set(record.state.open_items)
    needs = record.numbers(NeedsFound)[-1:]
    for need in not_run(record):
        if need.function not in stated:
            lines.append(Line(w("open.need", name=need.name, grade=w(f"grade.{need.grade.value}")), needs, "open"))
    for question, answer in record.state.questions.values():
        if answer is None:
            asked = record.numbers(QuestionAsked, lambda b, q=question: b.question.id == q.id)
            lines.append(Line(w("open.question", text=w.said(question.message)), asked, "open"))
    for event, body in record.of(FactStated, _leaves_open):
        lines.append(Line(f"{w(f'fact.{body.fact.key.value}')}: {body.fact.text}", (event.sequence,), "open"))
    return [*lines, *_monitors(record, w), *_unexplained(record, w)]


def _leaves_open(body: FactStated) -> bool:
    """Whether a fact leaves something open: what follows, and what was declined unless that is nothing."""
    declined = body.fact.key is FactKey.DECLINED and body.fact.text.casefold() not in _NOTHING
    return declined or body.fact.key is FactKey.FOLLOW_UP


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
            told = judgement.rule is not Rule.REPORT_ONLY
            if told and judgement.verdict is Verdict.CANNOT_TELL and judgement.settles:
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
    word = "open.differs-one" if count == 1 else "open.differs"
    return [Line(w(word, count=count), events, "open")] if count else []
