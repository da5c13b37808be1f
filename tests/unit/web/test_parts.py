"""Which parts of the sheet an event changes: complete over the union of events, and enough to keep a page true."""

from __future__ import annotations

from typing import get_args

import pytest

from asleft.event.body import Body
from asleft.event.fold import JobState, fold
from asleft.job.client import JobClient
from asleft.web.context import SheetPage, Viewer
from asleft.web.parts import CHANGES, all_parts, parts_of
from asleft.web.rendering import render
from asleft.web.sight import Engine
from asleft.web.stage import PARTS, changed_between, in_hand
from kit.events import demo_job, fail_job, interrupted_job, replay_job
from kit.evidence import evidence_job
from kit.gallery import whole_job

JOBS = {
    "whole": whole_job,
    "demo": demo_job,
    "fail": fail_job,
    "replay": replay_job,
    "interrupted": interrupted_job,
    "evidence": evidence_job,
    "paused": lambda: evidence_job(ended=False),
}


def rendered(state: JobState) -> dict[str, str]:
    """Every part of the sheet; the engine works on this job as long as it is open."""
    engine = Engine(True, "bench", "bus", "Gable Street Motors", "M. Okafor", state.number, bench=True)
    page = SheetPage("t", state.number, engine, state, "0" * 64, True, Viewer())
    return {name: render(f"parts/{name}.html", page) for name in all_parts()}


def test_every_event_of_the_union_is_named() -> None:
    """A new event without an entry would leave the page untrue, or send everything each time."""
    names = {str(body.__struct_config__.tag).split("@")[0] for body in get_args(Body)}
    assert set(CHANGES) == names


def test_only_parts_that_exist_are_named() -> None:
    assert {part for parts in CHANGES.values() for part in parts} <= set(PARTS)


@pytest.mark.parametrize("job", JOBS)
def test_parts_not_named_are_the_same_as_before(job: str) -> None:
    """Followed event by event, a page that replaces only the parts named shows what a page loaded anew shows."""
    events = JOBS[job]()
    state = JobState()
    shown = rendered(state)
    for event in events:
        before, state = in_hand(state), fold([event], state)
        names = parts_of([event], before, in_hand(state))
        now = rendered(state)
        shown.update({name: now[name] for name in names})
        stale = [name for name in now if shown[name] != now[name]]
        assert not stale, (event.sequence, type(event.body).__name__, stale)


def test_the_question_and_the_record_come_with_every_message() -> None:
    events = demo_job()
    assert {"next", "record"} <= set(parts_of(events[3:4], "found", "found"))


def test_parts_come_in_reading_order_and_once() -> None:
    names = parts_of(demo_job(), "", "record")
    assert list(names) == [n for n in all_parts() if n in names]


@pytest.mark.parametrize(
    ("before", "after", "changed"),
    [
        ("received", "received", set()),
        ("needs", "runs", {"needs", "plan", "runs", "head", "outcome"}),
        ("record", "", {"record", "head", "outcome"}),
    ],
)
def test_headings_between_two_stages_change(before: str, after: str, changed: set[str]) -> None:
    assert set(changed_between(before, after)) == changed


def test_the_client_is_the_only_way_to_the_record() -> None:
    """The page reads through the client; it has no folder of its own to write to."""
    assert not hasattr(JobClient, "append")
