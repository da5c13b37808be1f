"""Which parts of the sheet an event changes. Pure."""

from __future__ import annotations

from collections.abc import Iterable

from asleft.event.envelope import Event, type_of

from .stage import PARTS, changed_between

#: Parts that show something of every event: the question or step in hand, and the record's length and head.
ALWAYS = ("next", "record")

#: Event type (without version) -> parts of the sheet it changes besides those.
CHANGES: dict[str, tuple[str, ...]] = {
    "job-opened": (*PARTS,),
    "picture-taken": ("received", "work", "found", "plan", "left"),
    "codes-screened": ("found",),
    "needs-found": ("needs",),
    "plan-made": ("plan",),
    "order-chosen": ("plan", "runs", "notes"),
    "run-started": ("runs",),
    "identifier-chosen": ("runs",),
    "question-asked": (),
    "question-answered": ("work",),
    "conditions-seen": ("runs",),
    "condition-waived": ("runs",),
    "step-started": ("runs",),
    "step-stopped": ("runs",),
    "intent-written": ("runs", "outcome"),
    "effect-answered": ("runs", "outcome"),
    "effect-settled": ("runs", "outcome"),
    "module-told": ("runs",),
    "samples-taken": ("runs",),
    "criterion-judged": ("runs", "plan", "outcome"),
    "run-ended": ("runs", "plan", "outcome"),
    "codes-cleared": ("left",),
    "differences-found": ("found", "left"),
    "item-left-open": ("outcome",),
    "fact-stated": ("notes",),
    "noted": ("notes", "head"),
    "job-stopped": ("outcome", "runs"),
    "job-closed": (*PARTS,),
    "corrected": ("notes", "outcome"),
    "clock-noted": (),
    "control-moved": (),
    "samples-part": (),
    "module-picture-taken": ("runs", "left"),
    "sequence-timed": ("runs",),
    "person-marked": ("runs",),
    "not-watched": ("runs",),
    "document-attached": ("runs", "record"),
    "causes-named": ("runs", "outcome"),
    "run-progress": ("runs",),
    "retest-declared": ("runs", "plan", "outcome"),
    "picture-extended": ("received", "found", "left", "record"),
}


def parts_of(events: Iterable[Event], before: str, after: str) -> tuple[str, ...]:
    """Parts that these events change, each once, in reading order; ``next`` last.

    Args:
        events: new ones.
        before, after: part in hand before and after them (see ``stage.in_hand``).
    """
    changed = {*ALWAYS, *changed_between(before, after)}
    for event in events:
        changed.update(CHANGES.get(type_of(event.body).split("@")[0], PARTS))
    return tuple(name for name in (*PARTS, "next") if name in changed)


def all_parts() -> tuple[str, ...]:
    """Every part, for a page that has missed too much."""
    return (*PARTS, "next")
