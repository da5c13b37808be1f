"""Logs of frames played as a link."""

from __future__ import annotations

import itertools
from pathlib import Path

import can
import pytest

from asleft.bench.bus import InLoopBus
from asleft.job.clock import LoopClock, run_virtual
from asleft.link.bus_link import BusLink
from asleft.link.frame_log import FrameLogLink
from asleft.link.recorder import RecordingLink
from asleft.model.errors import Code, InputError, LinkError
from asleft.model.frame import CanFrame
from asleft.model.origin import Origin


def record(folder: Path) -> list[CanFrame]:
    """Three frames half a second apart, recorded."""

    async def main(clock: LoopClock) -> list[CanFrame]:
        bus = InLoopBus(clock)
        other = bus.join("other", lambda _: None)
        link = RecordingLink(BusLink(bus, clock), clock, folder, "x")
        heard: list[CanFrame] = []
        await link.open()
        link.listen(heard.append)
        for number in range(3):
            other.send(CanFrame(0x7E8, bytes((number,))))
            await clock.sleep_until(clock.now() + 0.5)
        await link.close()
        return heard

    return run_virtual(main)


@pytest.mark.parametrize("ending", ["log", "asc", "blf"])
def test_what_was_recorded_plays_again_with_its_spacing(tmp_path: Path, ending: str) -> None:
    """Same frames, same spacing, on the clock; origin replay."""
    recorded = record(tmp_path)

    async def main(clock: LoopClock) -> list[CanFrame]:
        link = FrameLogLink(tmp_path / f"x.{ending}", clock)
        heard: list[CanFrame] = []
        link.listen(heard.append)
        assert link.origin is Origin.REPLAY
        await link.open()
        await link.played_out()
        await link.close()
        return heard

    played = run_virtual(main)
    assert [(f.id, f.data) for f in played] == [(f.id, f.data) for f in recorded]
    times = [f.time_s or 0.0 for f in played]
    assert [b - a for a, b in itertools.pairwise(times)] == pytest.approx([0.5, 0.5], abs=1e-3)


def test_a_log_is_never_asked(tmp_path: Path) -> None:
    """Sending is refused."""
    record(tmp_path)

    async def main(clock: LoopClock) -> None:
        link = FrameLogLink(tmp_path / "x.log", clock)
        await link.open()
        with pytest.raises(LinkError) as caught:
            link.send(CanFrame(1, b""))
        assert caught.value.code is Code.LISTEN_ONLY
        await link.close()
        await link.close()

    run_virtual(main)


@pytest.mark.parametrize(("name", "content"), [("no.log", None), ("x.unknown", "a"), ("x.log", "no log at all\n")])
def test_what_is_no_log_says_so(tmp_path: Path, name: str, content: str | None) -> None:
    """Missing, of an unknown form, or not what its ending says: recording-unreadable with the file's name."""
    path = tmp_path / name
    if content is not None:
        path.write_text(content)

    async def main(clock: LoopClock) -> None:
        link = FrameLogLink(path, clock)
        with pytest.raises(InputError) as caught:
            await link.open()
        assert caught.value.code is Code.RECORDING_UNREADABLE
        assert name in caught.value.sentence()

    run_virtual(main)


@pytest.mark.parametrize(
    "name", ["logfile.asc", "test_CanFdMessage64.blf", "test_CanMessage.asc", "logfile_errorframes.asc"]
)
def test_logs_from_outside_play(checks: Path, name: str) -> None:
    """Captures of another project: every data frame that python-can reads comes, errors are counted."""
    path = checks / "captures" / name
    with can.LogReader(path) as reader:
        messages = list(reader)
    data = [m for m in messages if not m.is_error_frame and not m.is_remote_frame]

    async def main(clock: LoopClock) -> tuple[int, int]:
        link = FrameLogLink(path, clock)
        heard: list[CanFrame] = []
        link.listen(heard.append)
        await link.open()
        await link.played_out()
        return len(heard), link.skipped

    assert run_virtual(main) == (len(data), len(messages) - len(data))


def test_a_log_that_breaks_off_in_the_middle_says_so_at_its_end(tmp_path: Path) -> None:
    """What came before is played; waiting for the end raises recording-unreadable."""
    record(tmp_path)
    path = tmp_path / "x.log"
    path.write_text(path.read_text() + "(broken\n")

    async def main(clock: LoopClock) -> int:
        link = FrameLogLink(path, clock)
        heard: list[CanFrame] = []
        link.listen(heard.append)
        await link.open()
        with pytest.raises(InputError) as caught:
            await link.played_out()
        assert caught.value.code is Code.RECORDING_UNREADABLE
        await link.close()
        return len(heard)

    assert run_virtual(main) == 3
