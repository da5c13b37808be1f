"""Sequences by hand for faces: cues for the rehearsal, windows for the picture; from a file or a run's text."""

from __future__ import annotations

from pathlib import Path

import msgspec

from asleft import figure
from asleft.book.loader import load_procedure, read_procedure
from asleft.book.procedure import Procedure, Way
from asleft.event.body import SequenceTimed
from asleft.event.fold import RunState
from asleft.model.errors import AsleftError, Code, InputError
from asleft.model.step_more import TimedSequence
from asleft.run.cues import COUNT_IN, Cue, cues

_NARROW = figure.Size(width=400, letters=17)


class Rehearsal(msgspec.Struct, frozen=True):
    """A sequence as it is rehearsed: name of the procedure, the step's words, cues with a count-in, its picture."""

    name: str
    text: str
    prepare: str
    cues: tuple[Cue, ...]
    count_in_s: int
    track: figure.ActTrack


def sequence_in(procedure: Procedure, step: str = "") -> TimedSequence | None:
    """The sequence by hand with this id, or the first; None where it has none."""
    found = (s for s in procedure.ways.steps(Way.BY_HAND) if isinstance(s, TimedSequence))
    return next((s for s in found if step in ("", s.id)), None)


def rehearsal_of(path: Path, *, narrow: bool = False) -> Rehearsal:
    """The sequence of a procedure file. Raises InputError: procedure-missing, it has none."""
    procedure = load_procedure(path).procedure
    step = sequence_in(procedure)
    if step is None:
        raise InputError(Code.PROCEDURE_MISSING, f"{procedure.id} has no sequence by hand")
    return Rehearsal(procedure.name, step.text, step.prepare, cues(step), COUNT_IN, track_of(step, narrow=narrow))


def run_sequence(run: RunState, step: str = "") -> TimedSequence | None:
    """The sequence that a run carried out, from the procedure's text as it ran; None where it cannot be read."""
    try:
        return sequence_in(read_procedure(run.started.text.encode(), run.started.procedure).procedure, step)
    except AsleftError:
        return None


def track_of(step: TimedSequence, timed: SequenceTimed | None = None, *, narrow: bool = False) -> figure.ActTrack:
    """The picture of a sequence, with what was seen of one attempt, or with the count-in where nothing was yet."""
    windows = [figure.ActWindow(m.act, m.at_s, max(0.0, m.at_s - m.early_s), m.at_s + m.late_s) for m in step.marks]
    seen = [figure.ActSeen(a.act, a.at_s, a.u_s) for a in timed.acts] if timed else []
    lead = 0.0 if timed else float(COUNT_IN)
    return figure.act_track(windows, seen, lead_s=lead, size=_NARROW if narrow else None)
