"""Details on each run: source, way, bytes, conditions, steps, effects, proof. Pure."""

from __future__ import annotations

from asleft.event import body as b
from asleft.model.effect import Settlement
from asleft.model.reading import Hex, Series
from asleft.model.verdict import StepOutcome

from .entry import conditions, waived
from .evidence import causes, course, evidence, retests
from .figures import number_lines, strips
from .keynumbers import signal_name
from .parts import Block, Cell, Events, Fact, Facts, Line, Lines, Row, Section, Table, fact, row
from .phrases import wall_text
from .proofs import criteria
from .sources import gaps, level, procedure_facts
from .traced import Traced
from .verdicts import Outcome, outcome_cell, outcomes
from .words import Words
from .written import written

_BAD_STEP = {StepOutcome.REFUSED: "fail", StepOutcome.FAILED: "fail", StepOutcome.STOPPED: "open"}


def runs(record: Traced, w: Words) -> list[Section]:
    """One section a run, in the order they began."""
    return [_run(record, outcome, w) for outcome in outcomes(record, w)]


def spaced(payload: Hex) -> str:
    """Bytes in pairs: ``31 01 02 03``."""
    return " ".join(payload[i : i + 2] for i in range(0, len(payload), 2))


def _run(record: Traced, outcome: Outcome, w: Words) -> Section:
    run = outcome.started.run
    blocks: list[Block] = [
        _head(record, outcome, w),
        *gaps(record, outcome.started, w),
        *conditions(record, run, w),
        *waived(record, run, w),
        *_cautions(record, run, w),
        *_questions(record, run, w),
        *course(record, run, w),
        _steps(record, run, w),
        *evidence(record, run, w),
        *_told(record, run, w),
        _effects(record, run, w),
        *written(record, run, w),
        *retests(record, run, w),
        *criteria(record, run, w),
        *causes(record, run, w),
        *number_lines(record, run, w),
        *strips(record, run, w),
        *_samples(record, run, w),
    ]
    return Section(w("run.title", name=outcome.started.name, run=run), tuple(blocks))


def _head(record: Traced, outcome: Outcome, w: Words) -> Facts:
    started = outcome.started
    event, _ = record.of_run(b.RunStarted, started.run)[0]
    here = (event.sequence,)
    rows: list[Fact] = [
        fact(w("function"), started.function, here),
        fact(w("run.procedure"), started.procedure, here),
        fact(w("way"), w(f"way.{started.way}") if w.knows(f"way.{started.way}") else started.way, here),
        *procedure_facts(started, here, w),
        *level(record, event, w),
        fact(w("run.started"), wall_text(event.wall, event.wall_trust, w), here),
        *_identifier(record, started.run, w),
    ]
    there, body = record.ended(started.run)
    if body is None:
        return Facts("", (*rows, fact(w("run.ended"), Cell(w("end.none"), "open"))))
    last = record.events[there[0] - 1]
    rows.append(fact(w("run.ended"), wall_text(last.wall, last.wall_trust, w), there))
    rows.append(fact(w("run.end"), f"{w(f'end.{body.end.value}')}: {w.said(body.message)}", there))
    rows.append(fact(w("run.verdict"), outcome_cell(outcome, w), outcome.events))
    if outcome.stated and outcome.contradicts:
        contradiction = w("run.contradiction", stated=outcome.stated.value)
        rows.append(fact(w("exception.contradiction"), Cell(contradiction, "fail"), there))
    return Facts("", tuple(rows))


def _identifier(record: Traced, run: str, w: Words) -> list[Fact]:
    rows: list[Fact] = []
    for event, body in record.of_run(b.IdentifierChosen, run):
        here = (event.sequence,)
        text = w("identifier.text", hex=f"{body.identifier:04X}", how=body.how, printed=body.printed)
        rows.append(fact(w("identifier"), text, here))
        rows.append(fact(w("identifier.bytes"), Cell(spaced(body.payload), "bytes"), here))
        rows.append(fact(w("identifier.row"), w.said(body.row), here))
    return rows


def _cautions(record: Traced, run: str, w: Words) -> list[Lines]:
    shown: dict[str, Events] = {}
    for event, body in record.of_run(b.QuestionAsked, run):
        for caution in body.question.cautions:
            text = w.caution(caution)
            shown[text] = (*shown.get(text, ()), event.sequence)
    lines = tuple(Line(text, events) for text, events in shown.items())
    return [Lines(w("cautions.title"), lines)] if lines else []


def questions_outside(record: Traced, w: Words) -> Section:
    """What was asked and shown outside any procedure: pictures, the work itself, sorting of codes."""
    begun = {started.run for _, started in record.runs}
    outside = dict.fromkeys(q.run for _, q in record.of(b.QuestionAsked) if q.run not in begun)
    blocks = [block for run in outside for block in (*_cautions(record, run, w), *_questions(record, run, w))]
    return Section(w("questions.job"), tuple(blocks))


def _questions(record: Traced, run: str, w: Words) -> list[Table]:
    head = tuple(w(h) for h in ("question", "answer", "answered-by", "known-by"))
    rows: list[Row] = []
    for event, body in record.of_run(b.QuestionAsked, run):
        answer = record.state.questions[body.question.id][1]
        text = "\n".join((w.said(body.question.message), *body.question.details))
        if answer is None:
            rows.append(row(text, Cell(w("not-answered"), "open"), "", "", events=(event.sequence,)))
            continue
        answered = record.numbers(b.QuestionAnswered, lambda a, q=body.question.id: a.answer.question == q)
        known = w(f"evidence.{answer.evidence.value}")
        rows.append(row(text, answer.text, answer.by, known, events=(event.sequence, *answered)))
    return [Table(w("questions.title"), head, (7, 4, 3, 2), tuple(rows))] if rows else []


def _steps(record: Traced, run: str, w: Words) -> Table:
    head = tuple(w(h) for h in ("step", "what", "outcome", "duration", "sentence"))
    numbers: dict[str, list[int]] = {}
    for event, body in sorted(
        (*record.of_run(b.StepStarted, run), *record.of_run(b.StepStopped, run)), key=lambda e: e[0].sequence
    ):
        numbers.setdefault(body.step, []).append(event.sequence)
    rows: list[Row] = []
    for step in record.state.runs[run].steps:
        outcome = w(f"outcome.{step.outcome.value}") if step.outcome else w("outcome.none")
        mark = _BAD_STEP.get(step.outcome, "") if step.outcome else "open"
        took = "" if step.outcome in (None, StepOutcome.SKIPPED) else _seconds(step.duration_s, w)
        cells = (step.id, w.said(step.message), Cell(outcome, mark), took, w.said(step.result))
        rows.append(row(*cells, events=tuple(numbers.get(step.id, ()))))
    return Table(w("steps.title"), head, (3, 6, 2, 2, 6), tuple(rows), w("steps.none"))


def _seconds(seconds: float, w: Words) -> str:
    return f"{w.n.fixed(seconds)} s" if seconds >= 0.05 else f"{w('less-than', number=w.n.text('0.1'))} s"


def _told(record: Traced, run: str, w: Words) -> list[Table]:
    head = (w("module"), w("state"), w("sentence"))
    rows = tuple(
        row(t.module, w(f"module.{t.state.value}"), w.said(t.message), events=(e.sequence,))
        for e, t in record.of_run(b.ModuleTold, run)
    )
    return [Table(w("modules-told.title"), head, (2, 2, 8), rows)] if rows else []


def _effects(record: Traced, run: str, w: Words) -> Table:
    head = tuple(w(h) for h in ("effect", "target", "bytes", "effect.answer", "settled"))
    rows: list[Row] = []
    for effect in record.state.effects.values():
        intent = effect.intent
        if intent.run != run:
            continue
        kind = w(f"effect.{intent.effect.value}") + f": {intent.why}"
        if intent.repeat_of:
            kind += f" ({w('repeat-of', intent=intent.repeat_of)})"
        serial = "target.text" if intent.serial else "target.no-serial"
        target = w(serial, target=intent.target.text, serial=intent.serial)
        cells = (kind, target, Cell(spaced(intent.payload), "bytes"), _answer(effect.answer, w))
        mark = "" if effect.settlement in (Settlement.DONE, Settlement.RESTORED) else "open"
        settled = w(f"settlement.{effect.settlement.value}") if effect.settlement else w("settlement.none")
        said = f" ({w(f'settle.{intent.settle.value}')}) {w.said(effect.message)}".rstrip()
        rows.append(row(*cells, Cell(settled + said, mark), events=record.effect_numbers(intent.id)))
    return Table(w("effects.title"), head, (4, 4, 3, 4, 5), tuple(rows), w("effects.none"))


def _answer(answer: b.EffectAnswered | None, w: Words) -> Cell:
    if answer is None:
        return Cell(w("effect.no-answer-recorded"), "open")
    if answer.refusal is not None:
        return Cell(f"{w('effect.refusal', code=f'{answer.refusal:02X}')}. {w.said(answer.message)}", "fail")
    text = spaced(answer.answer) or w("effect.no-answer")
    return Cell(f"{text}. {w.said(answer.message)}", "" if answer.answer else "open")


def _samples(record: Traced, run: str, w: Words) -> list[Table]:
    head = tuple(w(h) for h in ("samples", "signal", "count", "span", "range", "resolution", "gaps"))
    parts = record.of_run(b.SamplesPart, run)
    rows: list[Row] = []
    whole: set[int] = set()
    for event, body in record.of_run(b.SamplesTaken, run):
        before = tuple(e.sequence for e, p in parts if p.name == body.name and e.sequence < event.sequence)
        kept = tuple(n for n in before if n not in whole)
        whole |= set(kept)
        rows += [_series(body.name, s, (*kept, event.sequence), w) for s in body.series]
    for event, part in parts:
        if event.sequence not in whole:
            name = w("samples.part", name=part.name, part=part.part)
            rows += [_series(name, s, (event.sequence,), w) for s in part.series]
    return [Table(w("samples.title"), head, (5, 4, 2, 4, 5, 2, 2), tuple(rows))] if rows else []


def _series(name: str, s: Series, events: Events, w: Words) -> Row:
    span = f"{w.n.fixed(s.times_s[0])} – {w.n.fixed(s.times_s[-1])} s" if len(s) else ""
    value = w.n.span(min(s.values), max(s.values), s.unit) if len(s) else ""
    cells = (name, signal_name(s.signal), str(len(s)), span, value, w.n.step(s.resolution, s.unit), str(s.gaps))
    return row(*cells, events=events)
