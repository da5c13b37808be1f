"""The recogniser of hand sequences against synthetic traces whose truth is known."""

from __future__ import annotations

import random
from collections.abc import Iterator
from dataclasses import dataclass, replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from asleft.model.step_more import Edge, Mark
from asleft.model.verdict import Verdict
from asleft.proof.sequence import MissKind, SequenceWatch

PEDAL = "accelerator-pedal-d"
LEVELS = {"level": 78.0, "back": 26.0}
#: Our own practice pattern: key on, full pedal, held, up, key off.
MARKS = (
    Mark("key on", 0.0, signal=PEDAL, edge=Edge.ANSWERS),
    Mark("pedal down", 6.0, 2.0, 2.0, PEDAL, Edge.RISES, **LEVELS),
    Mark("pedal up", 18.0, 0.5, 1.5, PEDAL, Edge.FALLS, gap_low_s=8.0, gap_high_s=16.0, **LEVELS),
    Mark("key off", 20.0, 2.0, 3.0, PEDAL, Edge.SILENT, gap_high_s=5.0),
)
REST, FULL = 16.0, 88.0


@dataclass(frozen=True)
class Truth:
    """What the foot and the hand really did, s on the car's clock."""

    on: float = 3.0
    down: float = 9.0
    up: float = 21.0
    off: float = 23.0
    full: float = FULL
    extra_at: float | None = None
    bounce_s: float = 0.0
    key_gap: tuple[float, float] | None = None

    def pedal(self, t: float) -> float | None:
        """Pedal reading at t; None: the key is off."""
        if t < self.on or t >= self.off or (self.key_gap and self.key_gap[0] <= t < self.key_gap[1]):
            return None
        pressed = self.down <= t < self.up
        if self.extra_at is not None and self.extra_at <= t < self.extra_at + 0.5:
            pressed = True
        if self.bounce_s and self.down + self.bounce_s <= t < self.down + 2 * self.bounce_s:
            pressed = False
        return self.full if pressed else REST


@dataclass(frozen=True)
class Link:
    """How samples come: period, answer time, share lost."""

    period: float = 0.1
    answer: float = 0.02
    lost: float = 0.0
    seed: int = 0

    def polls(self, end: float) -> Iterator[tuple[float, float, float]]:
        """(asked, taken by the module, answered)."""
        chance = random.Random(self.seed)
        t = 0.0
        while t < end:
            answer = self.answer * chance.uniform(0.5, 1.5)
            yield t, t + answer * chance.random(), t + answer
            t += max(self.period * chance.uniform(0.8, 1.2), answer)


def play(truth: Truth, link: Link | None = None, marks: tuple[Mark, ...] = MARKS) -> SequenceWatch:
    link = link or Link()
    watch = SequenceWatch(marks)
    chance = random.Random(link.seed + 1)
    for asked, taken, answered in link.polls(truth.off + 12.0):
        value = truth.pedal(taken)
        if value is not None and chance.random() < link.lost:
            value = None
        watch.sample(PEDAL, asked, answered, value)
        if watch.done:
            break
    return watch


def inside(truth: Truth, room: float = 0.0) -> bool:
    """Whether the truth keeps every limit of MARKS, with some room."""
    down, up, off = truth.down - truth.on, truth.up - truth.on, truth.off - truth.on
    hold, after = truth.up - truth.down, truth.off - truth.up
    return (
        4.0 + room <= down <= 8.0 - room
        and 17.5 + room <= up <= 19.5 - room
        and 18.0 + room <= off <= 23.0 - room
        and 8.0 + room <= hold <= 16.0 - room
        and after <= 5.0 - room
    )


def test_in_time_it_passes_and_tells_by_how_much() -> None:
    watch = play(Truth(down=9.4))
    assert watch.verdict is Verdict.PASS
    assert watch.miss is None
    down = watch.heard[1]
    assert abs(down.off_s - 0.4) <= down.u_s + 1e-9
    assert down.u_s < 0.2


@pytest.mark.parametrize(
    ("truth", "mark", "kind", "by"),
    [
        (Truth(down=6.0), 1, MissKind.EARLY, 1.0),
        (Truth(down=12.5), 1, MissKind.LATE, 0.0),
        (Truth(up=16.0), 2, MissKind.SHORT, 1.0),
        (Truth(up=20.0), 2, MissKind.EARLY, 0.5),
        (Truth(up=23.5, off=26.0), 2, MissKind.LATE, 0.0),
        (Truth(full=71.0), 1, MissKind.PARTIAL, 0.0),
        (Truth(extra_at=22.0), 3, MissKind.EXTRA, 0.0),
        (Truth(key_gap=(12.0, 13.0)), 2, MissKind.BOUNCED, 0.0),
        (Truth(off=30.0), 3, MissKind.LATE, 0.0),
    ],
)
def test_what_went_wrong_is_named_with_the_step_and_by_how_much(
    truth: Truth, mark: int, kind: MissKind, by: float
) -> None:
    watch = play(truth)
    assert watch.miss is not None
    assert (watch.miss.mark, watch.miss.kind) == (mark, kind)
    assert abs(watch.miss.by_s - by) < 0.35
    assert str(mark + 1) in watch.miss.message.text


def test_a_late_act_is_a_miss_before_it_happens() -> None:
    """Nobody waits for an act that can no longer be in time."""
    truth = Truth(down=20.0)
    watch = SequenceWatch(MARKS)
    for asked, taken, answered in Link().polls(30.0):
        watch.sample(PEDAL, asked, answered, truth.pedal(taken))
        if watch.miss:
            break
    assert answered < truth.on + 8.0 + 0.6


def test_a_bouncing_press_is_one_press() -> None:
    assert play(Truth(bounce_s=0.05), Link(period=0.02, answer=0.004)).verdict is Verdict.PASS


def test_a_single_lost_answer_is_no_key() -> None:
    assert play(Truth(), Link(lost=0.02, seed=3)).miss is None


def test_a_slow_link_cannot_tell() -> None:
    """Half a poll above a quarter of the window: not PASS, whatever was done."""
    watch = play(Truth(), Link(period=1.6, answer=0.3))
    assert watch.verdict is not Verdict.PASS


def test_key_off_seen_late_is_said_as_uncertain() -> None:
    """A module that runs on shows the key late: with that lag declared, the window must be wide enough."""
    narrow = (*MARKS[:3], replace_mark(MARKS[3], early_s=0.5, late_s=0.5, lag_s=1.8))
    assert play(Truth(), marks=narrow).verdict is not Verdict.PASS


def replace_mark(mark: Mark, **changes: float) -> Mark:
    import msgspec

    return msgspec.structs.replace(mark, **changes)


seconds = st.floats(-3.0, 3.0)
links = st.builds(
    Link, period=st.floats(0.05, 0.6), answer=st.floats(0.005, 0.15), lost=st.just(0.0), seed=st.integers(0, 999)
)


@settings(max_examples=300, deadline=None)
@given(down=seconds, up=seconds, off=seconds, link=links)
def test_soundness(down: float, up: float, off: float, link: Link) -> None:
    """PASS only for a truth inside every window; a miss only for one outside."""
    truth = Truth(down=9.0 + down, up=21.0 + up, off=23.0 + off)
    if truth.up <= truth.down + 0.3 or truth.off <= truth.up + 0.3:
        return
    watch = play(truth, link)
    if watch.verdict is Verdict.PASS:
        assert inside(truth)
    if watch.miss is not None:
        assert not inside(truth)
        assert watch.miss.by_s >= -1e-9


@settings(max_examples=150, deadline=None)
@given(down=st.floats(-1.5, 1.5), up=st.floats(-0.1, 1.1), link=links)
def test_completeness(down: float, up: float, link: Link) -> None:
    """A truth well inside, seen over a quick link, always passes."""
    truth = Truth(down=9.0 + down, up=21.0 + up, off=23.0)
    quick = replace(link, period=min(link.period, 0.1), answer=min(link.answer, 0.03))
    if inside(truth, room=0.4):
        assert play(truth, quick).verdict is Verdict.PASS


@settings(max_examples=150, deadline=None)
@given(
    kind=st.sampled_from(["early", "late", "short", "partial", "extra"]),
    by=st.floats(0.6, 3.0),
    link=links,
)
def test_a_clear_fault_is_always_found(kind: str, by: float, link: Link) -> None:
    quick = replace(link, period=min(link.period, 0.15), answer=min(link.answer, 0.05))
    truths = {
        "early": Truth(down=7.0 - by),
        "late": Truth(down=11.0 + by),
        "short": Truth(down=9.0, up=17.0 - by),
        "partial": Truth(full=78.0 - 5.0 * by),
        "extra": Truth(extra_at=21.5 + min(by, 0.9)),
    }
    kinds = {
        "early": {MissKind.EARLY},
        "late": {MissKind.LATE},
        "short": {MissKind.SHORT, MissKind.EARLY},
        "partial": {MissKind.PARTIAL},
        "extra": {MissKind.EXTRA},
    }
    watch = play(truths[kind], quick)
    assert watch.miss is not None
    assert watch.miss.kind in kinds[kind]
    if kind in ("early", "short"):
        assert abs(watch.miss.by_s - by) <= watch.miss.u_s + 1e-6
