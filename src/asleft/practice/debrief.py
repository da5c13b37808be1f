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
from asleft.event.fold import fold
from asleft.figure import STYLESHEET, StepMark, number_line, plan_track, strip
from asleft.model.errors import Code, InputError, RecordError
from asleft.record.container import members_of
from asleft.record.export import EVENTS
from asleft.record.verify import verify

from .exercise import Exercise
from .scoring import Grading, Sheet

#: Strips shown of one run at most; the record holds all.
_STRIPS = 12
_LOOK = (
    "body{font-family:sans-serif;max-width:60rem;margin:1rem auto;padding:0 1rem}"
    "td,th{text-align:left;padding:.2rem .8rem .2rem 0;vertical-align:top}"
)


class Comment(msgspec.Struct, frozen=True):
    """A trainer's remark on one event, by its sequence."""

    event: int
    by: str
    text: str


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
    """The page as HTML."""
    said = html.escape
    verdict = "passed" if sheet.passed else "not passed"
    head = (
        f"<h1>{said(exercise.title)}</h1><p>{said(exercise.story)}</p><p><b>{sheet.total:g} of 100, {verdict}</b></p>"
    )
    gate = "".join(f"<p><b>Safety gate closed: {said(why)}</b></p>" for why in sheet.unsafe)
    body = head + gate + _sheet(sheet) + _truth(truth) + f"<h2>What it teaches</h2><p>{said(exercise.teaches)}</p>"
    body += _order(events) + _proofs(events, exercise) + _replay(events, comments)
    title = f"<title>{said(exercise.title)}: debrief</title>"
    style = f"<style>{STYLESHEET} {_LOOK}</style>"
    return f'<!doctype html><html lang="en"><head><meta charset="utf-8">{title}{style}</head><body>{body}</body></html>'


def _sheet(sheet: Sheet) -> str:
    rows = "".join(
        f"<tr><td>{line.item.value}</td><td>{line.points:g} of {line.of:g}</td>"
        f"<td>{html.escape('; '.join(line.why))}</td></tr>"
        for line in sheet.lines
    )
    return f"<h2>Sheet</h2><table>{rows}</table>"


def _truth(truth: Grading) -> str:
    hidden = "".join(f"<li>{html.escape(k)}{f': {v:g}' if v else ''}</li>" for k, v in truth.hidden.items())
    seen = "".join(f"<li>{html.escape(k)} at the end: {v:g}</li>" for k, v in truth.readings.items())
    return f"<h2>The truth, variant {truth.seed}</h2><ul>{hidden or '<li>nothing was hidden</li>'}{seen}</ul>"


def _order(events: Sequence[Event]) -> str:
    state = fold(events)
    done = "".join(
        f"<li>{html.escape(r.started.name)}: {r.end.value if r.end else 'open'}</li>" for r in state.runs.values()
    )
    drawn = plan_track(state.plan) if state.plan is not None else ""
    return f"<h2>Best order</h2>{drawn}<h2>What was done</h2><ol>{done}</ol>"


def _proofs(events: Sequence[Event], exercise: Exercise) -> str:
    state = fold(events)
    parts: list[str] = []
    for run in (r for r in state.runs.values() if r.started.function == exercise.function):
        marks = tuple(StepMark(s.started_s, s.id) for s in run.steps if s.started_s)
        kept = [one for taken in run.samples.values() for one in taken.series]
        single = [
            f"{one.signal.replace('-', ' ')}: {one.values[0]:g} {one.unit}" for one in kept if len(one.values) == 1
        ]
        parts += [f"<p>{html.escape('read once: ' + '; '.join(single))}</p>"] if single else []
        drawn = [one for one in kept if len(one.values) > 1]
        parts += [
            f"<figure>{strip(one, title=one.signal.replace('-', ' '), marks=marks)}</figure>" for one in drawn[:_STRIPS]
        ]
        parts += [f"<figure>{number_line(j)}</figure>" for j in run.judgements]
    return f"<h2>Strips and proof</h2>{''.join(parts) or '<p>nothing was recorded</p>'}"


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
        if isinstance(event.body, b.QuestionAnswered) or remarks:
            rows.append(
                f"<tr><td>{event.sequence}</td><td>{event.monotonic_s / 60:.1f} min</td><td>{html.escape(words)}</td>"
                f"<td>{html.escape(remarks)}</td></tr>"
            )
    return f"<h2>Replay</h2><table>{''.join(rows)}</table>"
