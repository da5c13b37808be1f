"""From the events of a job to a plain, typed view: texts and small tables, every line with its event numbers. Pure.

Example::

    seen = view(events, head_hash, generated="2031-04-17T12:00:00Z")
    seen.front.functions.rows[0].events        # where the verdict comes from
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from asleft.event.envelope import Event
from asleft.model.origin import Origin

from . import closing, pictures
from .amended import amended_note, amendments
from .front import front
from .parts import Line, Section, View
from .profile import Profile
from .redact import redacted, withheld
from .runs import questions_outside, runs
from .stated import road_test
from .traced import Traced
from .words import Words

#: Fixed words that the layout needs beside those of the blocks.
_LABELS = ("details", "details.note", "event", "head", "origin", "record")


def view(
    events: Sequence[Event],
    head_hash: str,
    *,
    generated: str,
    attached: Mapping[str, bytes] | None = None,
    profile: Profile | None = None,
) -> View:
    """What the report of these events says.

    Args:
        events: all events of one job from the first, in order.
        head_hash: hash of the last event, hexadecimal.
        generated: issue time, RFC 3339; the caller's, because there is no clock here.
        attached: files that go with the paper, by name.
        profile: language, numbers, units, letterhead.
    Raises: RecordError (record-damaged): no events, another job's among them, a gap.
    """
    if profile and profile.redacted:
        attached = None
    record, w = Traced(events), Words(profile)
    state = record.state
    title = "title.replay" if Origin.REPLAY in record.origins else "title"
    status = "draft" if state.closed is None else "closed" if state.closed.released else "not-released"
    seen = View(
        language=w.language,
        title=w(title if state.closed else "title.draft"),
        subtitle=w(f"status.{status}" if state.closed else title),
        status=w(f"status.{status}"),
        draft=state.closed is None,
        origin=" + ".join(w(f"origin.{o.value}") for o in record.origins),
        watermark=" + ".join(w(f"origin.{o.value}") for o in record.origins if o is not Origin.VEHICLE),
        notes=_notes(record, w),
        workshop=state.opened.workshop if state.opened else "",
        number=w("record-number", number=state.number),
        vin=state.vehicle.vin.text if state.vehicle else "",
        head_hash=head_hash,
        generated=w("generated", time=w.n.wall(generated)),
        front=front(record, head_hash, bool(attached), w),
        sections=_sections(record, head_hash, attached or {}, w),
        labels={name: w(name) for name in _LABELS},
        letterhead=profile.letterhead if profile else (),
    )
    return withheld(redacted(seen, record) if w.redacted else seen, w)


def _notes(record: Traced, w: Words) -> tuple[Line, ...]:
    state = record.state
    notes = [Line(w(f"origin.{o.value}.note"), (1,)) for o in record.origins if o is not Origin.VEHICLE]
    if state.closed is None:
        notes.append(Line(w("draft.note", sequence=state.sequence), (state.sequence,), "open"))
    if state.stopped is not None:
        stopped = state.stopped
        text = w("draft.stopped", reason=f"{stopped.reason}. {w.said(stopped.message)}")
        numbers = record.numbers(type(stopped))[-1:]
        notes.append(Line(text, numbers, "open"))
    notes += amended_note(record, w)
    if w.redacted:
        notes.append(Line(w("redacted.note")))
    return tuple(notes)


def _sections(record: Traced, head_hash: str, attached: Mapping[str, bytes], w: Words) -> tuple[Section, ...]:
    return (
        closing.record_and_car(record, w),
        *amendments(record, w),
        closing.needs(record, w),
        closing.plan(record, w),
        pictures.pictures(record, w),
        pictures.differences(record, w),
        pictures.screening(record, w),
        *(s for s in (questions_outside(record, w),) if s.blocks),
        *runs(record, w),
        pictures.clears(record, w),
        road_test(record, w),
        closing.exceptions(record, w),
        closing.still_open(record, w),
        closing.who_and_when(record, w),
        closing.counts(record, w),
        closing.verify(record, head_hash, attached, w),
    )
