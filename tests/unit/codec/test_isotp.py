"""The ISO-TP machine, frame by frame, in virtual time."""

from __future__ import annotations

import pytest

from asleft.codec import isotp
from asleft.codec.isotp import (
    Began,
    ConsecutiveSilent,
    Direction,
    FlowControlSilent,
    InterruptedByNew,
    InvalidFlowStatus,
    IsoTpConfig,
    IsoTpSession,
    MessageTooLong,
    OtherSideFull,
    Received,
    Sent,
    TooManyWaits,
    TransferFailed,
    WrongSequenceNumber,
)
from asleft.codec.isotp.frames import single_room, st_min_s
from asleft.model.errors import Code, LinkError
from asleft.model.frame import CanFrame

ENGINE = isotp.normal(0x7E0, 0x7E8, functional=0x7DF)


def session(**settings: object) -> IsoTpSession:
    return IsoTpSession(ENGINE, IsoTpConfig(**settings))  # type: ignore[arg-type]


def heard(machine: IsoTpSession, text: str, now_s: float = 0.0, can_id: int = 0x7E8) -> None:
    assert machine.feed(CanFrame(can_id, bytes.fromhex(text)), now_s)


def out(machine: IsoTpSession) -> list[str]:
    return [frame.data.hex(" ").upper() for frame in machine.frames_to_send()]


def failures(machine: IsoTpSession) -> list[TransferFailed]:
    return [event for event in machine.events() if isinstance(event, TransferFailed)]


class TestSending:
    def test_short_message_is_one_padded_frame(self) -> None:
        machine = session()
        machine.send(b"\x3e\x00", 1.0)
        frames = machine.frames_to_send()
        assert [frame.text() for frame in frames] == ["7E0 02 3E 00 CC CC CC CC CC"]
        assert machine.events() == [Sent(b"\x3e\x00", 1.0)]
        assert machine.deadline() is None
        assert not machine.sending

    def test_without_padding_the_frame_is_short(self) -> None:
        machine = session(padding=None)
        machine.send(b"\x22\xf1\x90", 0.0)
        assert out(machine) == ["03 22 F1 90"]

    def test_waits_for_flow_control_and_says_until_when(self) -> None:
        machine = session(flow_timeout_s=0.5)
        machine.send(bytes(range(20)), 10.0)
        assert len(out(machine)) == 1
        assert machine.deadline() == 10.5
        machine.poll(10.4999)
        assert machine.events() == []
        machine.poll(10.5)
        (failed,) = failures(machine)
        assert isinstance(failed.error, FlowControlSilent)
        assert failed.error.code is Code.TRANSFER_BROKEN
        assert (failed.direction, failed.done, failed.length) == (Direction.SENDING, 6, 20)
        assert not machine.sending
        machine.send(b"\x01", 11.0)  # free again

    def test_block_size_stops_for_the_next_flow_control(self) -> None:
        machine = session(padding=None)
        machine.send(bytes(40), 0.0)
        out(machine)
        heard(machine, "300200", 0.1)
        assert [text[:2] for text in out(machine)] == ["21", "22"]
        assert machine.deadline() == pytest.approx(1.1)
        heard(machine, "300000", 0.2)
        assert [text[:2] for text in out(machine)] == ["23", "24", "25"]
        assert machine.events() == [Sent(bytes(40), 0.2)]

    def test_least_time_between_frames(self) -> None:
        machine = session()
        machine.send(bytes(30), 0.0)
        out(machine)
        heard(machine, "30000A", 0.0)
        assert len(out(machine)) == 1
        assert machine.deadline() == pytest.approx(0.010)
        machine.poll(0.009)
        assert out(machine) == []
        machine.poll(0.015)  # late
        assert len(out(machine)) == 1
        assert machine.deadline() == pytest.approx(0.025)  # counted from the late one

    def test_own_gap_is_kept_even_when_the_other_side_asks_for_none(self) -> None:
        machine = session(own_gap_s=0.02)
        machine.send(bytes(30), 0.0)
        heard(machine, "300000", 0.0)
        assert machine.deadline() == pytest.approx(0.02)

    @pytest.mark.parametrize(
        ("raw", "seconds"),
        [(0, 0.0), (1, 0.001), (0x7F, 0.127), (0xF1, 0.0001), (0xF9, 0.0009)]
        + [(raw, 0.127) for raw in (0x80, 0xF0, 0xFA, 0xFF)],
    )
    def test_every_kind_of_st_min(self, raw: int, seconds: float) -> None:
        """Reserved values mean the longest time. Source: check values, section 3; ISO 15765-2, 9.6.5.5, recalled."""
        assert st_min_s(raw) == pytest.approx(seconds)
        machine = session()
        machine.send(bytes(30), 0.0)
        heard(machine, f"3000{raw:02X}", 0.0)
        assert machine.deadline() == (pytest.approx(seconds) if seconds else None)

    def test_waits_are_borne_up_to_the_bound(self) -> None:
        machine = session(max_waits=2)
        machine.send(bytes(30), 0.0)
        heard(machine, "310000", 0.9)
        assert machine.deadline() == pytest.approx(1.9)
        heard(machine, "310000", 1.8)
        assert machine.sending
        heard(machine, "310000", 2.7)
        (failed,) = failures(machine)
        assert isinstance(failed.error, TooManyWaits)

    def test_waits_are_counted_in_a_row(self) -> None:
        machine = session(max_waits=1)
        machine.send(bytes(60), 0.0)
        for _ in range(3):
            heard(machine, "310000")
            heard(machine, "300100")
        assert failures(machine) == []
        assert machine.sending

    def test_overflow(self) -> None:
        machine = session()
        machine.send(bytes(30), 0.0)
        heard(machine, "320000")
        assert isinstance(failures(machine)[0].error, OtherSideFull)

    @pytest.mark.parametrize("status", range(3, 16))
    def test_unknown_flow_status(self, status: int) -> None:
        machine = session()
        machine.send(bytes(30), 0.0)
        heard(machine, f"3{status:X}0000")
        assert isinstance(failures(machine)[0].error, InvalidFlowStatus)

    def test_flow_control_nobody_waits_for_is_ignored(self) -> None:
        machine = session()
        heard(machine, "300000")
        machine.send(bytes(30), 0.0)
        heard(machine, "300064")
        heard(machine, "320000")  # while frames go out
        assert failures(machine) == []
        assert machine.sending

    @pytest.mark.parametrize("payload", [b"", bytes(8)])
    def test_to_everybody_only_single_frames(self, payload: bytes) -> None:
        machine = session()
        with pytest.raises(LinkError):
            machine.send(payload, 0.0, functional=True)
        assert out(machine) == []

    def test_to_everybody(self) -> None:
        machine = session()
        machine.send(b"\x01\x00", 0.0, functional=True)
        assert machine.frames_to_send()[0].id == 0x7DF
        with pytest.raises(LinkError):
            IsoTpSession(isotp.normal(1, 2)).send(b"\x01", 0.0, functional=True)

    def test_one_message_at_a_time(self) -> None:
        machine = session()
        machine.send(bytes(30), 0.0)
        with pytest.raises(LinkError):
            machine.send(b"\x01", 0.0)

    def test_forget_drops_everything_silently(self) -> None:
        machine = session()
        machine.send(bytes(30), 0.0)
        heard(machine, "1014" + "00" * 6)
        machine.events()
        machine.forget()
        assert (machine.deadline(), machine.sending, machine.receiving) == (None, False, False)
        assert (out(machine), machine.events()) == ([], [])


class TestReceiving:
    def test_whole_message_with_times(self) -> None:
        machine = session()
        heard(machine, "101462F190314D38", 1.0)
        assert out(machine) == ["30 00 00 CC CC CC CC CC"]
        assert machine.receiving
        assert machine.deadline() == 2.0
        heard(machine, "2147444D3941584B", 1.1)
        heard(machine, "2250303432373838", 1.2)
        payload = b"\x62\xf1\x901M8GDM9AXKP042788"
        assert machine.events() == [Began(20, 1.0), Received(payload, 1.0, 1.2)]
        assert machine.deadline() is None

    def test_block_size_and_st_min_we_ask_for(self) -> None:
        machine = session(block_size=2, st_min=0xF5, padding=None)
        heard(machine, "101E" + "00" * 6)
        assert out(machine) == ["30 02 F5"]
        heard(machine, "21" + "00" * 7)
        assert out(machine) == []
        heard(machine, "22" + "00" * 7)
        assert out(machine) == ["30 02 F5"]

    def test_next_frame_does_not_come(self) -> None:
        machine = session(consecutive_timeout_s=0.15)
        heard(machine, "1014" + "00" * 6, 0.0)
        heard(machine, "21" + "00" * 7, 0.1)
        machine.poll(0.2499)
        assert failures(machine) == []
        machine.poll(0.25)
        (failed,) = failures(machine)
        assert isinstance(failed.error, ConsecutiveSilent)
        assert (failed.direction, failed.done, failed.length) == (Direction.RECEIVING, 13, 20)

    def test_a_late_frame_does_not_revive(self) -> None:
        """Time that passed is accounted for before the frame is looked at."""
        machine = session()
        heard(machine, "1014" + "00" * 6, 0.0)
        heard(machine, "21" + "00" * 7, 5.0)
        assert isinstance(failures(machine)[0].error, ConsecutiveSilent)

    @pytest.mark.parametrize("number", [n for n in range(16) if n != 1])
    def test_wrong_sequence_number(self, number: int) -> None:
        machine = session()
        heard(machine, "1014" + "00" * 6)
        heard(machine, f"2{number:X}" + "00" * 7)
        (failed,) = failures(machine)
        assert isinstance(failed.error, WrongSequenceNumber)
        assert not machine.receiving

    def test_new_single_frame_interrupts(self) -> None:
        machine = session()
        heard(machine, "1014" + "00" * 6)
        heard(machine, "027E00")
        events = machine.events()
        assert isinstance(events[1], TransferFailed)
        assert isinstance(events[1].error, InterruptedByNew)
        assert events[2] == Received(b"\x7e\x00", 0.0, 0.0)

    def test_new_first_frame_interrupts(self) -> None:
        machine = session()
        heard(machine, "1014" + "00" * 6)
        heard(machine, "100A" + "01" * 6)
        heard(machine, "21" + "01" * 7)
        events = machine.events()
        assert isinstance(events[1], TransferFailed)
        assert events[-1] == Received(b"\x01" * 10, 0.0, 0.0)

    def test_longer_than_we_accept(self) -> None:
        machine = session(max_length=19)
        heard(machine, "1014" + "00" * 6)
        assert out(machine) == ["32 00 00 CC CC CC CC CC"]
        assert isinstance(failures(machine)[0].error, MessageTooLong)
        assert not machine.receiving

    def test_escape_length(self) -> None:
        machine = session(max_length=5000)
        heard(machine, "100000001000" + "0102")
        assert machine.events() == [Began(4096, 0.0)]
        assert machine.receiving

    @pytest.mark.parametrize(
        "text",
        [
            "",
            "00",
            "0022F190",  # escape length in a short frame
            "08" + "11" * 7,
            "0322F1",  # shorter than announced
            "10",
            "1008010203",  # short first frame
            "1007" + "00" * 6,  # would fit in a single frame
            "1000" + "00000FFF" + "0000",  # escape for a length of 4095
            "21" + "00" * 7,  # nothing begun
            "3000",  # short flow control
            "40",
            "FF" * 8,
        ],
    )
    def test_ignored(self, text: str) -> None:
        machine = session()
        if text:
            heard(machine, text)
        else:
            machine.feed(CanFrame(0x7E8, b""), 0.0)
        assert (machine.events(), out(machine), machine.deadline()) == ([], [], None)

    def test_short_consecutive_frame_in_the_middle_is_ignored(self) -> None:
        machine = session()
        heard(machine, "1020" + "00" * 6)
        heard(machine, "210000")
        assert failures(machine) == []
        assert machine.receiving

    def test_last_frame_may_be_short(self) -> None:
        machine = session()
        heard(machine, "1008" + "01" * 6)
        heard(machine, "210202")
        assert machine.events()[-1] == Received(b"\x01" * 6 + b"\x02\x02", 0.0, 0.0)

    def test_other_identifiers_are_not_ours(self) -> None:
        machine = session()
        assert not machine.feed(CanFrame(0x7E9, b"\x01\x3e"), 0.0)
        assert not machine.feed(CanFrame(0x7E8, b"\x01\x3e", extended=True), 0.0)
        assert machine.events() == []

    def test_sending_and_receiving_at_once(self) -> None:
        machine = session()
        machine.send(bytes(30), 0.0)
        heard(machine, "1008" + "01" * 6)
        heard(machine, "300000")
        heard(machine, "210202")
        assert {type(event) for event in machine.events()} == {Began, Received, Sent}

    def test_module_side_takes_requests_to_everybody_but_no_long_ones(self) -> None:
        machine = IsoTpSession(isotp.as_module(ENGINE))
        heard(machine, "020100", can_id=0x7DF)
        assert machine.events() == [Received(b"\x01\x00", 0.0, 0.0, functional=True)]
        heard(machine, "1014" + "00" * 6, can_id=0x7DF)
        assert machine.events() == []
        heard(machine, "300000", can_id=0x7DF)
        assert out(machine) == []

    def test_request_to_everybody_does_not_disturb_a_message(self) -> None:
        machine = IsoTpSession(isotp.as_module(ENGINE))
        heard(machine, "1008" + "01" * 6, can_id=0x7E0)
        heard(machine, "023E80", can_id=0x7DF)
        heard(machine, "1014" + "00" * 6, can_id=0x7DF)
        heard(machine, "21" + "02" * 7, can_id=0x7DF)
        heard(machine, "210202", can_id=0x7E0)
        assert [event.payload for event in machine.events() if isinstance(event, Received)] == [
            b"\x3e\x80",
            b"\x01" * 6 + b"\x02\x02",
        ]


class TestAddresses:
    def test_normal_fixed(self) -> None:
        address = isotp.normal_fixed(0xF1, 0x10)
        assert (address.tx.id, address.rx.id, address.wide) == (0x18DA10F1, 0x18DAF110, True)
        assert address.tx_functional == isotp.Lane(0x18DB33F1)

    def test_extended_frames_carry_the_target(self) -> None:
        machine = IsoTpSession(isotp.extended(0x6F1, 0x640, source=0xF1, target=0x40, functional_target=0xEF))
        machine.send(b"\x3e\x00", 0.0)
        machine.send(b"\x3e\x80", 0.0, functional=True)
        assert out(machine) == ["40 02 3E 00 CC CC CC CC", "EF 02 3E 80 CC CC CC CC"]
        assert machine.feed(CanFrame(0x640, bytes.fromhex("F1027E00")), 0.0)
        assert not machine.feed(CanFrame(0x640, bytes.fromhex("F2027E00")), 0.0)
        assert not machine.feed(CanFrame(0x640, b""), 0.0)

    def test_mixed(self) -> None:
        assert isotp.mixed(0x700, 0x708, 0x99, functional=0x7DF).tx_functional == isotp.Lane(0x7DF, 0x99)
        address = isotp.mixed_wide(0xF1, 0x10, 0x99, functional_target=0x33)
        assert (address.tx, address.rx) == (isotp.Lane(0x18CE10F1, 0x99), isotp.Lane(0x18CEF110, 0x99))
        assert address.tx_functional == isotp.Lane(0x18CD33F1, 0x99)

    @pytest.mark.parametrize(
        "make",
        [
            lambda: isotp.normal(0x800, 0x7E8),
            lambda: isotp.normal(-1, 0x7E8),
            lambda: isotp.normal(0, 1 << 29, wide=True),
            lambda: isotp.normal_fixed(0x100, 1),
            lambda: isotp.extended(0x600, 0x601, 0x1F1, 1),
        ],
    )
    def test_impossible(self, make: object) -> None:
        with pytest.raises(LinkError):
            make()  # type: ignore[operator]


@pytest.mark.parametrize(
    "settings",
    [
        {"block_size": 256},
        {"st_min": 0x80},
        {"st_min": 0xFA},
        {"own_gap_s": -1.0},
        {"padding": 300},
        {"frame_length": 9},
        {"frame_length": 64},
        {"max_length": 0},
        {"max_waits": -1},
        {"flow_timeout_s": 0.0},
    ],
)
def test_impossible_settings(settings: dict[str, object]) -> None:
    with pytest.raises(LinkError):
        IsoTpConfig(**settings)  # type: ignore[arg-type]


@pytest.mark.parametrize(("length", "prefix", "room"), [(8, 0, 7), (8, 1, 6), (12, 0, 10), (64, 0, 62), (64, 1, 61)])
def test_room_of_a_single_frame(length: int, prefix: int, room: int) -> None:
    assert single_room(length, prefix) == room
