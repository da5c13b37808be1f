"""The recorder writes every frame once, readable by python-can, and no access key."""

from __future__ import annotations

import itertools
from pathlib import Path

import can
import pytest
from hypothesis import given
from hypothesis import strategies as st

from asleft.bench.bus import InLoopBus
from asleft.codec.isotp import IsoTpSession, as_module, normal
from asleft.job.clock import LoopClock, run_virtual
from asleft.link.bus_link import BusLink
from asleft.link.recorder import RecordingLink
from asleft.link.redaction import Redaction
from asleft.model.frame import CanFrame


def test_files_hold_every_frame_once_and_read_back(tmp_path: Path) -> None:
    """Both files give back identifiers, bytes, direction and times of all frames, through python-can's readers."""
    sent = [CanFrame(0x7E0, bytes.fromhex("0322F190CCCCCCCC")), CanFrame(0x18DA10F1, b"\x01\x3e", extended=True)]
    back = [CanFrame(0x7E8, bytes.fromhex("037F2231"))]

    async def main(clock: LoopClock) -> RecordingLink:
        bus = InLoopBus(clock)
        other = bus.join("other", lambda _: None)
        link = RecordingLink(BusLink(bus, clock), clock, tmp_path / "new", "job-7")
        await link.open()
        for frame in sent:
            link.send(frame)
        await clock.sleep_until(0.1)
        other.send(back[0])
        await clock.sleep_until(0.2)
        await link.close()
        return link

    link = run_virtual(main)
    assert (link.counts.sent, link.counts.received) == (2, 1)
    assert link.counts.by_id == {0x7E0: 1, 0x18DA10F1: 1, 0x7E8: 1}
    for ending in ("log", "asc", "blf"):
        with can.LogReader(tmp_path / "new" / f"job-7.{ending}") as reader:
            messages = list(reader)
        frames = [CanFrame(m.arbitration_id, bytes(m.data), m.is_extended_id) for m in messages]
        assert frames == [*sent, *back]
        assert [m.is_rx for m in messages] == [False, False, True]
        assert messages[2].timestamp - messages[0].timestamp == pytest.approx(0.1, abs=1e-3)


def test_access_keys_do_not_reach_a_file(tmp_path: Path) -> None:
    """Seed and key stand in no file, in single and in long messages; the service stays visible."""
    key = bytes(range(0xA1, 0xC1))

    async def main(clock: LoopClock) -> RecordingLink:
        bus = InLoopBus(clock)
        other = bus.join("other", lambda _: None)
        link = RecordingLink(BusLink(bus, clock), clock, tmp_path, "keys")
        await link.open()
        for frame in _as_frames(b"\x27\x02" + key) + _as_frames(b"\x22\xf1\x90"):
            link.send(frame)
        other.send(CanFrame(0x7E8, bytes.fromhex("066701A1A2A3A4")))
        other.send(CanFrame(0x7E8, bytes.fromhex("037F2735")))
        await clock.sleep_until(0.1)
        await link.close()
        return link

    link = run_virtual(main)
    text = (tmp_path / "keys.log").read_text()
    assert not any(f"{a:02X}{b:02X}" in text for a, b in itertools.pairwise(key))
    assert "10222702" in text
    said = (tmp_path / "keys.messages.txt").read_text()
    assert "> 7E0 27 02 00 00" in said
    assert "< 7E8 67 01 00 00 00 00" in said
    assert "< 7E8 7F 27 35" in said
    assert not any(f"{a:02X} {b:02X}" in said for a, b in itertools.pairwise(key))
    assert b"\xa1\xa2" not in (tmp_path / "keys.blf").read_bytes()
    assert "037F2735" in text
    assert "22F190" in text
    assert link.counts.redacted == len(_as_frames(b"\x27\x02" + key)) + 1


@given(st.sampled_from([0x27, 0x67, 0x29, 0x69]), st.binary(min_size=1, max_size=600))
def test_redaction_leaves_no_byte_of_any_secret(service: int, secret: bytes) -> None:
    """Whatever the length, every byte after the sub-function is 00; the message after it is untouched."""
    redaction = Redaction()
    clean = [redaction.clean(frame) for frame in _as_frames(bytes((service, 0x01)) + secret)]
    whole = b"".join(_payload(frame) for frame in clean)
    assert whole[:2] == bytes((service, 0x01))
    assert not any(whole[2:])
    after = _as_frames(bytes(range(0x40, 0x80)))
    assert [redaction.clean(frame) for frame in after] == after


def test_is_wrapped_once_only(tmp_path: Path) -> None:
    """A recorder around a recorder would write frames twice: refused."""

    async def main(clock: LoopClock) -> None:
        link = RecordingLink(BusLink(InLoopBus(clock), clock), clock, tmp_path, "a")
        with pytest.raises(ValueError, match="once"):
            RecordingLink(link, clock, tmp_path, "b")

    run_virtual(main)


def test_a_folder_that_cannot_be_written_does_not_stop_the_link(tmp_path: Path) -> None:
    """The link works on; the recorder says what is wrong."""
    (tmp_path / "file").write_text("in the way")

    async def main(clock: LoopClock) -> tuple[RecordingLink, list[CanFrame]]:
        bus = InLoopBus(clock)
        heard: list[CanFrame] = []
        bus.join("other", heard.append)
        link = RecordingLink(BusLink(bus, clock), clock, tmp_path / "file", "x")
        await link.open()
        link.send(CanFrame(1, b""))
        await clock.sleep_until(0.01)
        await link.close()
        return link, heard

    link, heard = run_virtual(main)
    assert len(heard) == 1
    assert link.trouble


def _as_frames(payload: bytes) -> list[CanFrame]:
    ours = normal(0x7E0, 0x7E8)
    sender, receiver = IsoTpSession(ours), IsoTpSession(as_module(ours))
    sender.send(payload, 0.0)
    frames: list[CanFrame] = []
    while out := sender.frames_to_send():
        for frame in out:
            frames.append(frame)
            receiver.feed(frame, 0.0)
        for frame in receiver.frames_to_send():
            sender.feed(frame, 0.0)
    return frames


def _payload(frame: CanFrame) -> bytes:
    kind = frame.data[0] >> 4
    if kind == 0:
        return frame.data[1 : 1 + (frame.data[0] & 0x0F)]
    return frame.data[2:] if kind == 1 else frame.data[1:]
