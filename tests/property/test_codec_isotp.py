"""ISO-TP: round trips over all settings, and 20,000 hostile frames."""

from __future__ import annotations

import random

from hypothesis import given, settings
from hypothesis import strategies as st

from asleft.codec import isotp
from asleft.codec.isotp import IsoTpConfig, IsoTpSession, Received, Sent, TransferBroken, TransferFailed
from asleft.model.errors import Code
from asleft.model.frame import CanFrame

ADDRESSES = st.sampled_from(
    [
        isotp.normal(0x7E0, 0x7E8),
        isotp.normal_fixed(0xF1, 0x10),
        isotp.extended(0x6F1, 0x640, 0xF1, 0x40),
        isotp.mixed(0x700, 0x708, 0x99),
        isotp.mixed_wide(0xF1, 0x10, 0x99),
    ]
)


@st.composite
def configs(draw: st.DrawFn) -> IsoTpConfig:
    length = draw(st.sampled_from([8, 8, 8, 12, 16, 20, 24, 32, 48, 64]))
    return IsoTpConfig(
        block_size=draw(st.integers(0, 10)),
        st_min=draw(st.sampled_from([0, 1, 20, 0x7F, 0xF1, 0xF9])),
        own_gap_s=draw(st.sampled_from([0.0, 0.003])),
        padding=draw(st.sampled_from([None, 0x00, 0x55, 0xCC])),
        fd=length > 8,
        frame_length=length,
        max_length=100_000,
    )


def run(one: IsoTpSession, two: IsoTpSession, lost: int = -1) -> tuple[float, list[object], int]:
    """Let both talk until both are quiet, time jumping to the next deadline; frame number ``lost`` never arrives."""
    now_s, count = 0.0, 0
    events: list[object] = []
    while True:
        before = count
        for machine, other in ((one, two), (two, one)):
            for frame in machine.frames_to_send():
                if count != lost:
                    other.feed(frame, now_s)
                count += 1
        events += one.events() + two.events()
        if count > before:
            continue
        waits = [due for due in (one.deadline(), two.deadline()) if due is not None]
        if not waits:
            return now_s, events, count
        assert min(waits) >= now_s
        now_s = min(waits)
        one.poll(now_s)
        two.poll(now_s)


@given(address=ADDRESSES, here=configs(), there=configs(), payload=st.binary(min_size=1, max_size=600))
@settings(max_examples=150, deadline=None)
def test_every_message_arrives_once_and_whole(
    address: isotp.IsoTpAddress, here: IsoTpConfig, there: IsoTpConfig, payload: bytes
) -> None:
    one, two = IsoTpSession(address, here), IsoTpSession(isotp.as_module(address), there)
    one.send(payload, 0.0)
    took_s, events, _ = run(one, two)
    assert [event.payload for event in events if isinstance(event, Received)] == [payload]
    assert [event.payload for event in events if isinstance(event, Sent)] == [payload]
    assert not [event for event in events if isinstance(event, TransferFailed)]
    assert took_s < 600


@given(payload=st.binary(min_size=8, max_size=300), lost=st.integers(0, 60), config=configs())
@settings(max_examples=150, deadline=None)
def test_a_lost_frame_never_gives_a_wrong_message(payload: bytes, lost: int, config: IsoTpConfig) -> None:
    """Whatever frame is lost: the message arrives whole, or a typed failure tells of it, on one side at least."""
    address = isotp.normal(0x7E0, 0x7E8)
    one, two = IsoTpSession(address, config), IsoTpSession(isotp.as_module(address), config)
    one.send(payload, 0.0)
    _, events, count = run(one, two, lost)
    got = [event.payload for event in events if isinstance(event, Received)]
    assert got in ([payload], [])
    # a lost single frame leaves no trace on this layer; the conversation above has its own time-out
    single = count == 1
    if not got and not single:
        assert any(isinstance(event, TransferFailed) for event in events)


def hostile(rng: random.Random) -> CanFrame:
    """A frame as a broken or lying module might send it: mostly the right identifier and a plausible first byte."""
    fd = rng.random() < 0.3
    length = rng.choice([0, 1, 2, 3, 7, 8, 8, 8, 8] + ([12, 16, 24, 64] if fd else []))
    data = bytearray(rng.randbytes(length))
    if data and rng.random() < 0.85:
        data[0] = rng.choice([0x00, 0x02, 0x07, 0x08, 0x10, 0x10, 0x21, 0x22, 0x20, 0x30, 0x31, 0x32, 0x3F])
        if data[0] == 0x10 and length > 1 and rng.random() < 0.8:
            data[1] = rng.choice([0, 7, 8, 9, 20, 255])
    return CanFrame(rng.choice([0x7E8, 0x7E8, 0x7E8, 0x7E9]), bytes(data), rng.random() < 0.02, fd)


def test_twenty_thousand_hostile_frames() -> None:
    """Only typed events come out; buffers stay bounded; the machine still works afterwards."""
    rng = random.Random(20_000)
    machine = IsoTpSession(isotp.normal(0x7E0, 0x7E8), IsoTpConfig(max_length=512, block_size=2))
    now_s, seen = 0.0, set[str]()
    for _ in range(20_000):
        now_s += rng.choice([0.0, 0.001, 0.05, 0.7])
        if not machine.sending and rng.random() < 0.1:
            machine.send(rng.randbytes(rng.choice([1, 7, 8, 100])), now_s)
        machine.feed(hostile(rng), now_s)
        assert len(machine.frames_to_send()) <= 40
        for event in machine.events():
            seen.add(type(event).__name__)
            if isinstance(event, TransferFailed):
                assert isinstance(event.error, TransferBroken)
                assert event.error.code is Code.TRANSFER_BROKEN
                seen.add(event.error.standard)
            if isinstance(event, Received):
                assert 1 <= len(event.payload) <= 512
    assert seen == {
        "Began",
        "Received",
        "Sent",
        "TransferFailed",
        "N_TIMEOUT_Bs",
        "N_TIMEOUT_Cr",
        "N_WRONG_SN",
        "N_INVALID_FS",
        "N_UNEXP_PDU",
        "N_BUFFER_OVFLW",
        "N_ERROR",
    }
    machine.forget()
    machine.feed(CanFrame(0x7E8, bytes.fromhex("027E00")), now_s)
    assert machine.events() == [Received(b"\x7e\x00", now_s, now_s)]


@given(st.lists(st.binary(max_size=8), max_size=40))
@settings(max_examples=200)
def test_any_bytes_at_all(frames: list[bytes]) -> None:
    machine = IsoTpSession(isotp.normal(0x7E0, 0x7E8))
    machine.send(bytes(50), 0.0)
    for data in frames:
        machine.feed(CanFrame(0x7E8, data), 0.0)
        machine.frames_to_send()
        machine.events()
