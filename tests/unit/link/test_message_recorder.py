"""The recorder of message links: every message once, secrets blanked, never in the way."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from asleft.bench.bus import InLoopBus
from asleft.bench.identifiers import text
from asleft.bench.kline import KLine
from asleft.bench.kwp import KwpModule
from asleft.codec.isotp import IsoTpAddress, IsoTpSession, as_module, extended, mixed_wide
from asleft.job.clock import LoopClock, run_virtual
from asleft.link.bus_link import BusLink
from asleft.link.kline import KLineLink
from asleft.link.message_recorder import RecordingMessageLink, recorded
from asleft.link.recorder import RecordingLink
from asleft.link.redaction import Redaction, clean_message
from asleft.model.errors import ModuleError
from asleft.model.frame import CanFrame
from asleft.model.module import ModuleAddress
from asleft.talk.conversations import Conversations

ENGINE = ModuleAddress("engine", 0x11, 0x11)


async def a_line(clock: LoopClock) -> KLine:
    line = KLine(clock)
    module = KwpModule("engine", 0x11, identifiers=[text(0x90, "VIN", "1G1JC5444R7252367")])
    module.attach_line(line, clock)
    module.power_on()
    await clock.sleep_until(1.0)
    return line


def test_every_message_is_written_once_with_its_direction(tmp_path: Path) -> None:
    """Requests, answers, and those that nobody took; the file reads as it was said."""

    async def main(clock: LoopClock) -> RecordingMessageLink:
        link = recorded(KLineLink(await a_line(clock), clock), clock, tmp_path, "job")
        assert isinstance(link, RecordingMessageLink)
        await link.open()
        async with Conversations(link, clock, lambda _: None) as talk:
            await talk.ask(ENGINE, bytes.fromhex("1A90"))
            with pytest.raises(ModuleError):
                await talk.ask(ModuleAddress("ghost", 0x55, 0x55), bytes.fromhex("1A90"))
        await link.close()
        return link

    link = run_virtual(main)
    lines = [row.split(" ", 1)[1] for row in (tmp_path / "job.messages.txt").read_text().splitlines()]
    assert lines[0] == "> 0011 1A 90"
    assert lines[1].startswith("< 0011 5A 90 31 47 31")
    assert "! 0055 1A 90" in lines
    assert link.trouble == ""


def test_the_right_recorder_for_each_kind_and_once_only(tmp_path: Path) -> None:
    """Frames to the recorder of frames, messages to this one; a second one around it is refused."""

    async def main(clock: LoopClock) -> None:
        frames = recorded(BusLink(InLoopBus(clock), clock), clock, tmp_path, "a")
        messages = recorded(KLineLink(KLine(clock), clock), clock, tmp_path, "b")
        assert isinstance(frames, RecordingLink)
        assert isinstance(messages, RecordingMessageLink)
        for link in (frames, messages):
            with pytest.raises(ValueError, match="once"):
                recorded(link, clock, tmp_path, "c")

    run_virtual(main)


def test_a_folder_that_cannot_be_written_does_not_stop_the_link(tmp_path: Path) -> None:
    """The link works on; the recorder says what is wrong."""
    (tmp_path / "file").write_text("in the way")

    async def main(clock: LoopClock) -> str:
        link = RecordingMessageLink(KLineLink(await a_line(clock), clock), clock, tmp_path / "file", "x")
        await link.open()
        async with Conversations(link, clock, lambda _: None) as talk:
            assert await talk.ask(ENGINE, bytes.fromhex("1A90"))
        await link.close()
        return link.trouble

    assert run_virtual(main)


@given(st.sampled_from([0x27, 0x67, 0x29, 0x69]), st.binary(max_size=300))
def test_no_byte_of_a_secret_is_written(service: int, secret: bytes) -> None:
    """Service and sub-function stay, the rest is 00, the length stays."""
    clean = clean_message(bytes((service, 0x01)) + secret)
    assert clean == bytes((service, 0x01)) + bytes(len(secret))
    refusal = bytes((0x7F, service, 0x35))
    assert clean_message(refusal) == refusal


@given(
    st.sampled_from(
        [extended(0x6A1, 0x640, 0xF1, 0x27), extended(0x6A1, 0x640, 0xF1, 0x04), mixed_wide(0xF1, 0x18, 0x21)]
    ),
    st.sampled_from([0x27, 0x67, 0x29, 0x69]),
    st.binary(min_size=1, max_size=300),
)
def test_an_address_byte_does_not_let_a_key_through(pair: IsoTpAddress, service: int, secret: bytes) -> None:
    """The same secret in extended and mixed addressing: no frame that is written holds a byte of it."""
    redaction = Redaction()
    sender, receiver = IsoTpSession(pair), IsoTpSession(as_module(pair))
    sender.send(bytes((service, 0x01)) + secret, 0.0)
    clean: list[CanFrame] = []
    while out := sender.frames_to_send():
        for frame in out:
            clean.append(redaction.clean(frame))
            receiver.feed(frame, 0.0)
        for frame in receiver.frames_to_send():
            sender.feed(frame, 0.0)
    other = IsoTpSession(as_module(pair))
    back = IsoTpSession(pair)
    payload = b""
    for frame in clean:
        other.feed(frame, 0.0)
        for flow in other.frames_to_send():
            back.feed(flow, 0.0)
        for event in other.events():
            payload = getattr(event, "payload", payload)
    assert payload == bytes((service, 0x01)) + bytes(len(secret))
