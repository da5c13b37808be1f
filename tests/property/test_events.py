"""Events: stored bytes are canonical, the chain holds, the fold is a function of the events alone."""

import hashlib
import json
from typing import Any

import msgspec
import pytest
import rfc8785
from hypothesis import given
from hypothesis import strategies as st

from asleft.event import body as bodies
from asleft.event.body import Body, ConditionsSeen, ItemLeftOpen, JobOpened, Noted, StepStarted, StepStopped
from asleft.event.envelope import FORMAT, NO_PREVIOUS, Event, decode, event_hash, stored_bytes, type_of
from asleft.event.fold import JobState, apply, fold
from asleft.model.condition import ConditionResult, ConditionState
from asleft.model.errors import RecordError
from asleft.model.message import Message
from asleft.model.origin import ClockKind, Origin, WallTrust
from asleft.model.verdict import StepOutcome
from asleft.model.vin import parse_vin
from asleft.model.work import Vehicle, WorkItem

TEXT = st.text(st.characters(exclude_categories=("Cs",)), max_size=40)
NUMBER = st.floats(allow_nan=False, allow_infinity=False, width=64)
MESSAGE = st.builds(Message, TEXT, TEXT, st.dictionaries(TEXT, TEXT, max_size=3))
BODY: st.SearchStrategy[Any] = st.one_of(
    st.builds(Noted, MESSAGE),
    st.builds(ItemLeftOpen, TEXT, MESSAGE),
    st.builds(
        JobOpened,
        TEXT,
        st.builds(Vehicle, st.just(parse_vin("1M8GDM9AXKP042788")), TEXT, TEXT),
        st.lists(st.builds(WorkItem, TEXT, TEXT), max_size=3).map(tuple),
        st.sampled_from(Origin),
        TEXT,
        TEXT,
    ),
    st.builds(StepStarted, TEXT, TEXT, MESSAGE),
    st.builds(StepStopped, TEXT, TEXT, st.sampled_from(StepOutcome), NUMBER, MESSAGE),
    st.builds(
        ConditionsSeen,
        TEXT,
        st.lists(st.builds(ConditionResult, TEXT, st.sampled_from(ConditionState), NUMBER, NUMBER), max_size=3).map(
            tuple
        ),
        TEXT,
    ),
)


def chain(items: list[Body]) -> list[Event]:
    events: list[Event] = []
    previous = NO_PREVIOUS
    for number, body in enumerate(items, 1):
        event = Event(FORMAT, "J", number, "a", "2031-01-01T00:00:00.000Z", WallTrust.SIMULATED, number / 7,
                      ClockKind.VIRTUAL, Origin.BENCH, previous, body)  # fmt: skip
        events.append(event)
        previous = event_hash(stored_bytes(event))
    return events


@given(st.lists(BODY, max_size=6))
def test_stored_bytes_come_back(items: list[Body]) -> None:
    for event in chain(items):
        stored = stored_bytes(event)
        assert decode(stored) == event
        assert b"\n" not in stored
        # an independent reader: the standard library's JSON, canonicalised again, gives the same bytes (RFC 8785)
        assert rfc8785.dumps(json.loads(stored, parse_int=float)) == stored
        assert event_hash(stored) == hashlib.sha256(stored).hexdigest()


@given(st.lists(BODY, max_size=8), st.integers(0, 8))
def test_fold_can_be_cut_anywhere(items: list[Body], cut: int) -> None:
    events = chain(items)
    whole = fold(events)
    assert fold(events[cut:], fold(events[:cut])) == whole
    assert sum(whole.counts.values()) == len(events)


def test_every_event_type_has_a_name_and_a_version() -> None:
    members = [
        v
        for v in vars(bodies).values()
        if isinstance(v, type) and issubclass(v, msgspec.Struct) and v.__module__ == bodies.__name__
    ]
    tags = [str(m.__struct_config__.tag) for m in members]
    assert len(set(tags)) == len(tags) == len(Body.__args__)
    assert all(tag.count("@") == 1 and tag.split("@")[1].isdigit() for tag in tags)
    assert type_of(Noted(Message("a", "b"))) == "noted@1"


@pytest.mark.parametrize("stored", [b"", b"{}", b"[1]", b'{"format":"other"}', b"\xff"])
def test_strange_bytes_are_a_typed_error(stored: bytes) -> None:
    with pytest.raises(RecordError):
        decode(stored)


def test_an_unknown_type_or_version_is_refused() -> None:
    stored = stored_bytes(chain([Noted(Message("a", "b"))])[0])
    with pytest.raises(RecordError):
        decode(stored.replace(b"noted@1", b"noted@9"))


def test_a_stopped_step_keeps_its_message() -> None:
    opening = bodies.RunStarted("r", "f", "p", "n", "by-wire", "", "")
    begun, ended = Message("step", "step"), Message("done", "done")
    state = JobState()
    for event in chain([opening, StepStarted("r", "s", begun), StepStopped("r", "s", StepOutcome.DONE, 2.0, ended)]):
        state = apply(state, event)
    (step,) = state.runs["r"].steps
    assert (step.message, step.result, step.outcome, step.duration_s) == (begun, ended, StepOutcome.DONE, 2.0)
