"""The control lease: the pure rule for any sequence of people and devices, and what its record says."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from asleft.event.body import ControlMoved
from asleft.event.fold import fold
from asleft.job.control import ControlLease, holder_in
from asleft.model.control import NOBODY, ControlHow, Holder, hand_over, may_confirm, take
from asleft.model.errors import Code, RunError
from asleft.model.message import Message
from asleft.model.question import Question, QuestionKind
from asleft.record.journal import open_journal
from asleft.run.asking import STOP
from kit.record_kit import JOB, HandClock, Source, opened

OKAFOR, TABLET_2, NOVAK = Holder("R. Okafor", "t1"), Holder("R. Okafor", "t2"), Holder("A. Novak", "t2")
EFFECT = Question("q1", QuestionKind.EFFECT, Message("m", "start the learn"), ("start", STOP))

WHO = st.builds(Holder, st.sampled_from(["", "A", "B"]), st.sampled_from(["", "t1", "t2"]))
ACTS = st.lists(
    st.tuples(st.sampled_from(["take", "take over", "hand over", "give up"]), WHO, WHO), max_size=12
)  # fmt: skip


def refused(call: object, *arguments: object) -> bool:
    with pytest.raises(RunError) as caught:
        call(*arguments)  # type: ignore[operator]
    return caught.value.code is Code.CONTROL_HELD


def test_the_same_person_on_another_device_is_another() -> None:
    assert may_confirm(NOBODY, OKAFOR)
    assert may_confirm(OKAFOR, OKAFOR)
    assert not may_confirm(OKAFOR, TABLET_2)
    assert not may_confirm(TABLET_2, NOVAK)
    assert not may_confirm(NOBODY, Holder("", "t1"))


def test_taking() -> None:
    assert take(OKAFOR, OKAFOR) is None
    first, over = take(NOBODY, OKAFOR), take(OKAFOR, NOVAK, "tablet 1 fell")
    assert first is not None
    assert over is not None
    assert first.how is ControlHow.TAKEN
    assert (over.how, over.reason, over.before) == (ControlHow.TAKEN_OVER, "tablet 1 fell", OKAFOR)
    assert refused(take, OKAFOR, NOVAK)
    assert refused(take, OKAFOR, NOVAK, "  ")
    assert refused(take, NOBODY, Holder("", "t1"), "x")


def test_handing_over() -> None:
    assert hand_over(OKAFOR, OKAFOR, NOVAK).how is ControlHow.HANDED_OVER
    assert hand_over(OKAFOR, OKAFOR, NOBODY).how is ControlHow.GIVEN_UP
    for holder, who, to in (
        (OKAFOR, TABLET_2, NOVAK),
        (NOBODY, OKAFOR, NOVAK),
        (OKAFOR, OKAFOR, OKAFOR),
        (OKAFOR, OKAFOR, Holder("", "t2")),
    ):
        assert refused(hand_over, holder, who, to)


@given(ACTS)
def test_never_two_and_never_without_a_trace(acts: list[tuple[str, Holder, Holder]]) -> None:
    """Whatever is tried: one holder at most may confirm, and control leaves him only by his hand or with a reason."""
    holder = NOBODY
    for act, who, to in acts:
        try:
            if act.startswith("take"):
                move = take(holder, who, "why" if act == "take over" else "")
            else:
                move = hand_over(holder, who, NOBODY if act == "give up" else to)
        except RunError:
            continue
        if move is None:
            assert who == holder
            continue
        assert move.before == holder
        assert holder == NOBODY or who == holder or move.reason
        holder = move.after
        everyone = [Holder(by, device) for by in ("A", "B") for device in ("", "t1", "t2")]
        assert [w for w in everyone if may_confirm(holder, w)] == (everyone if holder == NOBODY else [holder])


def test_it_stands_in_the_record_and_outlives_the_program(tmp_path: Path) -> None:
    with open_journal(tmp_path) as journals, journals.create(JOB, source=Source(), clock=HandClock()) as journal:
        journal.append(opened())
        lease = ControlLease(journal)
        lease.confirm(EFFECT, STOP, NOVAK)
        assert lease.holder == NOBODY
        lease.confirm(EFFECT, "start", OKAFOR)
        lease.confirm(EFFECT, "start", OKAFOR)
        assert refused(lease.confirm, EFFECT, "start", TABLET_2)
        lease.confirm(EFFECT, STOP, TABLET_2)
        lease.hand_over(OKAFOR, NOVAK)
        lease.take(TABLET_2, "Novak went home")
    with open_journal(tmp_path) as journals:
        again = journals.reopen(JOB, source=Source(), clock=HandClock())
        assert ControlLease(again).holder == TABLET_2
        moves = [e.body for e in again.events() if isinstance(e.body, ControlMoved)]
        assert [m.how for m in moves] == [ControlHow.TAKEN, ControlHow.HANDED_OVER, ControlHow.TAKEN_OVER]
        assert fold(again.events()).holder == TABLET_2
        again.give_back()


def test_reading_a_command() -> None:
    assert holder_in({"by": " R.\n Okafor ", "device": "t" * 100}) == Holder("R. Okafor", "t" * 60)
    assert holder_in({"to_by": "A"}, "to_") == Holder("A", "")
