"""Debriefs: the sheet, the strips with the truth, the order done beside the plan; a static page without scripts.

Comments of a trainer stand in a file beside the record (``record.comments.jsonl``), never in it.
"""

from __future__ import annotations

import html
from collections.abc import Sequence
from pathlib import Path

import msgspec

from asleft.event import body as b
from asleft.event.envelope import Event, decode
from asleft.event.fold import RunState, fold
from asleft.figure import STYLESHEET, StepMark, number_line, plan_track, strip
from asleft.model.errors import Code, InputError, RecordError
from asleft.record.container import members_of
from asleft.record.export import EVENTS
from asleft.record.verify import verify

from .exercise import Exercise
from .remarks import Comment, Looked
from .scoring import Grading, Sheet

#: Strips shown of one run at most; the record holds all.
_STRIPS = 12
_LOOK = (
    "body{font-family:sans-serif;max-width:60rem;margin:1rem auto;padding:0 1rem}"
    "td,th{text-align:left;padding:.2rem .8rem .2rem 0;vertical-align:top}"
)


def read_record(path: Path) -> tuple[Event, ...]:
    """Events of a record that checks. Raises RecordError: it does not check. InputError: no record."""
    if not path.exists():
        raise InputError(Code.PROCEDURE_MISSING, "no such record", str(path))
    if not verify(path).intact:
        raise RecordError(Code.RECORD_DAMAGED, "the record does not check, so it is not scored", str(path))
    members, _ = members_of(path)
    return tuple(decode(line) for line in members[EVENTS].splitlines())


def comments_path(record: Path) -> Path:
    """Where comments on a record stand."""
    return record.with_suffix(".comments.jsonl")


def add_comment(record: Path, comment: Comment) -> None:
    """Add a remark beside the record. Raises InputError: the record has no such event."""
    if comment.event not in {e.sequence for e in read_record(record)}:
        raise InputError(Code.PROCEDURE_MISSING, f"the record has no event {comment.event}", str(record))
    with comments_path(record).open("ab") as file:
        file.write(msgspec.json.encode(comment) + b"\n")


def read_comments(record: Path) -> tuple[Comment, ...]:
    """All remarks on a record, as they came."""
    path = comments_path(record)
    return tuple(msgspec.json.decode(x, type=Comment) for x in path.read_bytes().splitlines()) if path.exists() else ()


def debrief_page(
    exercise: Exercise, events: Sequence[Event], truth: Grading, sheet: Sheet, comments: Sequence[Comment] = ()
) -> str:
    """A page of its own as HTML, without scripts."""
    body = debrief_body(exercise, events, truth, sheet, comments)
    title = f"<title>{html.escape(exercise.title)}: debrief</title>"
    style = f"<style>{STYLESHEET} {_LOOK}</style>"
    return f'<!doctype html><html lang="en"><head><meta charset="utf-8">{title}{style}</head><body>{body}</body></html>'


def debrief_body(
    exercise: Exercise,
    events: Sequence[Event],
    truth: Grading,
    sheet: Sheet,
    comments: Sequence[Comment] = (),
    looked: Sequence[Looked] = (),
) -> str:
    """What a debrief says, as HTML without its frame."""
    said = html.escape
    verdict = "passed" if sheet.passed else "not passed"
    body = f"<h1>{said(exercise.title)}</h1><p>{said(exercise.story)}</p>"
    body += f'<p class="points"><b>{sheet.total:g} of 100, {verdict}</b></p>'
    body += "".join(f'<p class="gate">Safety gate closed: {said(why)}</p>' for why in sheet.unsafe)
    body += f"<h2>What it teaches</h2><p>{said(exercise.teaches)}</p>"
    body += _truth(exercise, events, truth) + _sheet(sheet) + _order(events) + _proofs(events, exercise, truth)
    return body + _looked(looked) + _replay(events, comments)


def _sheet(sheet: Sheet) -> str:
    rows = "".join(
        f"<tr><td>{line.item.value}</td><td>{line.points:g} of {line.of:g}</td>"
        f"<td>{html.escape('; '.join(line.why))}</td></tr>"
        for line in sheet.lines
    )
    return f"<h2>Sheet</h2><table>{rows}</table>"


def _truth(exercise: Exercise, events: Sequence[Event], truth: Grading) -> str:
    """What was hidden, and what was said beside what the car's instruments show."""
    hidden = "".join(f"<li>{html.escape(k)}{f': {v:g}' if v else ''}</li>" for k, v in truth.hidden.items())
    state = fold(events)
    rows = ""
    for check in exercise.honest:
        answers = [a.text for q, a in state.questions.values() if a is not None and check.asked in q.message.text]
        true = truth.readings.get(f"{check.act}.{check.pick}")
        shown = f"{true:g}" if true is not None else f"not {check.never!r} while this is hidden" if truth.hidden else ""
        rows += f"<tr><td>{html.escape(check.asked)}</td><td>{html.escape(', '.join(answers) or 'nothing')}</td>"
        rows += f"<td>{html.escape(shown)}</td></tr>"
    beside = f"<table><tr><th>asked</th><th>said</th><th>at the car</th></tr>{rows}</table>" if rows else ""
    return f"<h2>The truth, variant {truth.seed}</h2><ul>{hidden or '<li>nothing was hidden</li>'}</ul>{beside}"


def _order(events: Sequence[Event]) -> str:
    """The best order beside what was done."""
    state = fold(events)
    done = "".join(
        f"<li>{html.escape(r.started.name)}: {r.end.value if r.end else 'open'}{_verdict(r)}</li>"
        for r in state.runs.values()
    )
    drawn = plan_track(state.plan) if state.plan is not None else "<p>no plan was made</p>"
    best = f"<div><h2>Best order</h2>{drawn}</div>"
    return f'<div class="beside">{best}<div><h2>What was done</h2><ol>{done or "<li>nothing</li>"}</ol></div></div>'


def _verdict(run: RunState) -> str:
    return f", {run.verdict.value.replace('_', ' ')}" if run.verdict is not None else ""


def _looked(looked: Sequence[Looked]) -> str:
    """What somebody looked at or did at the car beside what was asked."""
    rows = "".join(
        f"<tr><td>{one.at_s / 60:.1f} min</td><td>{html.escape(one.words)}</td><td>{html.escape(one.seen)}</td></tr>"
        for one in looked
    )
    return f"<h2>Looked at</h2><table>{rows}</table>" if rows else ""


def _proofs(events: Sequence[Event], exercise: Exercise, truth: Grading) -> str:
    """Verdicts, then the strips they stand on, with what was hidden while they were recorded."""
    state = fold(events)
    told = ", ".join(f"{k}{f' {v:g}' if v else ''}" for k, v in truth.hidden.items())
    parts: list[str] = []
    for run in (r for r in state.runs.values() if r.started.function == exercise.function):
        marks = tuple(StepMark(s.started_s, s.id) for s in run.steps if s.started_s)
        kept = [one for taken in run.samples.values() for one in taken.series if one.values]
        steady = [one for one in kept if max(one.values) == min(one.values)]
        moving = [one for one in kept if max(one.values) > min(one.values)][:_STRIPS]
        parts += [f"<figure>{number_line(j)}</figure>" for j in run.judgements]
        told_steady = "; ".join(f"{one.signal.replace('-', ' ')}: {one.values[0]:g} {one.unit}" for one in steady)
        parts += [f"<p>Did not move: {html.escape(told_steady)}</p>"] if steady else []
        parts += [
            f"<figure>{strip(one, title=one.signal.replace('-', ' '), marks=marks)}"
            f"<figcaption>{html.escape(f'the truth: {told}' if told else 'nothing was hidden')}</figcaption></figure>"
            for one in moving
        ]
    return f"<h2>Proof and strips</h2>{''.join(parts) or '<p>nothing was recorded</p>'}"


def _replay(events: Sequence[Event], comments: Sequence[Comment]) -> str:
    """What was asked and answered, with a trainer's comments beside it."""
    rows: list[str] = []
    asked: dict[str, str] = {}
    for event in events:
        remarks = "; ".join(f"{c.by}: {c.text}" for c in comments if c.event == event.sequence)
        words = type(event.body).__name__
        if isinstance(event.body, b.QuestionAsked):
            asked[event.body.question.id] = event.body.question.message.text
        if isinstance(event.body, b.QuestionAnswered):
            words = f"{asked.get(event.body.answer.question, '')} → {event.body.answer.text}"
        if isinstance(event.body, b.RunStarted | b.RunEnded):
            words = f"{event.body.run}: {'begun' if isinstance(event.body, b.RunStarted) else event.body.end.value}"
        if isinstance(event.body, b.QuestionAnswered | b.RunStarted | b.RunEnded) or remarks:
            rows.append(
                f"<tr><td>{event.sequence}</td><td>{event.monotonic_s / 60:.1f} min</td><td>{html.escape(words)}</td>"
                f"<td>{html.escape(remarks)}</td></tr>"
            )
    return f"<h2>Replay</h2><table>{''.join(rows)}</table>"
