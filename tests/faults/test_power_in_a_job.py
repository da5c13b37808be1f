"""The power fails around every append and every effect that is sent, in virtual time, on a disk that drops what was not
synced; then the program starts again on what is left, and the car is where it was.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any

import pytest

from asleft.event.body import Body
from asleft.event.envelope import Event
from asleft.job.clock import LoopClock, run_virtual
from asleft.record.job_journal import JobJournal
from kit.bench_job import HookedPerson, Outcome, Scene, work
from kit.power_loss import LoggedDisk, Op, disk_after, nothing, some

#: First bytes of requests that change the car: routines, clearing.
EFFECTS = ("3101", "3102", "14")

#: Why something goes again, should the program ask.
OPEN = "leave it open"
AGAIN = {"has changed": ["the power had failed"] * 9}


class Crash(BaseException):
    """The power is gone."""


class Moments:
    """Counts the moments at which the power may fail, and lets it fail at one. ``at`` 0: never."""

    def __init__(self, disk: LoggedDisk, at: int = 0) -> None:
        self._disk = disk
        self._at = at
        self.names: list[str] = []
        self.acknowledged: list[Event] = []
        self.cut: int | None = None

    def pass_by(self, name: str) -> None:
        """One moment; raises Crash at the one chosen and at everything after it."""
        self.names.append(name)
        if len(self.names) == self._at:
            self.cut = len(self._disk.log)
        if self.dead:
            raise Crash

    @property
    def dead(self) -> bool:
        return self.cut is not None

    def append(self, original: Callable[..., Event]) -> Callable[..., Event]:
        def append(journal: JobJournal, body: Body, *, actor: str = "") -> Event:
            self.pass_by("before an append")
            event = original(journal, body, actor=actor)
            self.acknowledged.append(event)
            self.pass_by("after an append")
            return event

        return append

    def send(self, original: Callable[[Any], None]) -> Callable[[Any], None]:
        def send(frame: Any) -> None:
            if self.dead:
                return
            payload = frame.data[1 : 1 + frame.data[0]].hex().upper()
            effect = frame.data[0] <= 7 and payload.startswith(EFFECTS)
            if effect:
                self.pass_by("before a send")
            original(frame)
            if effect:
                self.pass_by("after a send")

        return send


def play(folder: Path, at: int, keep: Callable[[Op], bytes | None]) -> tuple[Moments, Outcome]:
    """The whole job with one power failure, gone on with from what the disk kept."""
    name = f"power-{folder.name}-{at}"
    disk = LoggedDisk(name)
    moments = Moments(disk, at)
    original = JobJournal.append

    async def main(clock: LoopClock) -> Outcome:
        scene = Scene(clock, folder / "before")
        send = scene.link.send
        scene.link.send = moments.send(send)  # type: ignore[method-assign]
        JobJournal.append = moments.append(original)  # type: ignore[method-assign]
        try:
            outcome = await work(scene, HookedPerson(scene.person(), lambda _q: None), vfs=name)
        except Crash:
            outcome = None
        finally:
            JobJournal.append = original  # type: ignore[method-assign]
            scene.link.send = send  # type: ignore[method-assign]
        if outcome is None:
            disk_after(disk.log[: moments.cut], folder / "after", keep)
            scene.folder = folder / "after"
            person = HookedPerson(scene.person(AGAIN), lambda q: OPEN if OPEN in q.choices else None)
            outcome = await work(scene, person, gate_timeout_s=30.0)
        scene.car.detach()
        return outcome

    return moments, run_virtual(main)


def sent_and_intended(outcome: Outcome) -> tuple[list[str], list[str]]:
    frames = [f.data[1 : 1 + f.data[0]].hex().upper() for f in outcome.frames if f.data[0] <= 7]
    return [p for p in frames if p.startswith(EFFECTS)], list(outcome.intents)


def check(moments: Moments, outcome: Outcome) -> None:
    """Nothing acknowledged is lost, nothing sent without its intent or twice for one; all settled, the job closed."""
    assert outcome.events[: len(moments.acknowledged)] == tuple(moments.acknowledged)
    sent, intended = sent_and_intended(outcome)
    for payload in set(sent):
        assert sent.count(payload) <= intended.count(payload), payload
    assert not outcome.state.unsettled
    assert outcome.state.closed is not None


@pytest.fixture(scope="module")
def names(tmp_path_factory: pytest.TempPathFactory) -> list[str]:
    """All moments of an undisturbed job."""
    moments, outcome = play(tmp_path_factory.mktemp("whole"), 0, nothing)
    check(moments, outcome)
    return moments.names


def around(folder: Path, places: Iterable[int], keep: Callable[[int], Callable[[Op], bytes | None]]) -> None:
    for place in places:
        moments, outcome = play(folder / str(place), place, keep(place))
        check(moments, outcome)


@pytest.mark.timeout(300)
def test_around_sends_and_appends(tmp_path: Path, names: list[str]) -> None:
    """The first start, before and after it went out; the last clear; two appends."""
    sends = [place for place, name in enumerate(names, 1) if "send" in name]
    assert len(sends) >= 8
    chosen = (*sends[:2], sends[-2], *range(len(names) // 4, len(names), len(names) // 2))
    around(tmp_path, chosen, lambda place: some(place) if place % 2 else nothing)


@pytest.mark.full
@pytest.mark.timeout(1200)
def test_around_every_send(tmp_path: Path, names: list[str]) -> None:
    around(tmp_path, (place for place, name in enumerate(names, 1) if "send" in name), lambda _: nothing)


@pytest.mark.full
@pytest.mark.timeout(1200)
@pytest.mark.parametrize("share", range(8))
def test_around_every_append(tmp_path: Path, names: list[str], share: int) -> None:
    around(tmp_path, range(1 + share, len(names) + 1, 8), lambda place: nothing if place % 2 else some(place))
