"""Our ISO-TP machine beside an independent one, can-isotp 2.0.7 (MIT), both ways, in virtual time.

The other machine reads the clock itself: its module's ``time`` is replaced by a hand-set one.
"""

from __future__ import annotations

import dataclasses
import itertools
from collections.abc import Iterator

import isotp
import isotp.tools
import pytest

from asleft.codec.isotp import (
    IsoTpAddress,
    IsoTpConfig,
    IsoTpSession,
    Received,
    Sent,
    TransferFailed,
    as_module,
    extended,
    mixed,
    mixed_wide,
    normal,
    normal_fixed,
)
from asleft.model.frame import CanFrame

TICK_S = 0.0001


class HandClock:
    """Stands in for the module ``time`` in can-isotp."""

    def __init__(self) -> None:
        self.now_ns = 1_000_000_000

    def perf_counter_ns(self) -> int:
        return self.now_ns

    @property
    def now_s(self) -> float:
        return self.now_ns / 1e9


@pytest.fixture
def clock(monkeypatch: pytest.MonkeyPatch) -> Iterator[HandClock]:
    hand = HandClock()
    monkeypatch.setattr(isotp.tools, "time", hand)
    return hand


Mode = isotp.AddressingMode
#: name -> (our address, the other machine's address of the opposite side)
ADDRESSES: dict[str, tuple[IsoTpAddress, isotp.Address]] = {
    "normal 11": (normal(0x7E0, 0x7E8), isotp.Address(Mode.Normal_11bits, txid=0x7E8, rxid=0x7E0)),
    "normal 29": (
        normal(0x18DA10F1, 0x18DAF110, wide=True),
        isotp.Address(Mode.Normal_29bits, txid=0x18DAF110, rxid=0x18DA10F1),
    ),
    "normal fixed": (
        normal_fixed(0xF1, 0x10),
        isotp.Address(Mode.NormalFixed_29bits, source_address=0x10, target_address=0xF1),
    ),
    "extended 11": (
        extended(0x6F1, 0x640, source=0xF1, target=0x40),
        isotp.Address(Mode.Extended_11bits, txid=0x640, rxid=0x6F1, source_address=0x40, target_address=0xF1),
    ),
    "extended 29": (
        extended(0x1ABCDE1, 0x1ABCDE2, source=0xF1, target=0x40, wide=True),
        isotp.Address(Mode.Extended_29bits, txid=0x1ABCDE2, rxid=0x1ABCDE1, source_address=0x40, target_address=0xF1),
    ),
    "mixed 11": (
        mixed(0x7E0, 0x7E8, 0x99),
        isotp.Address(Mode.Mixed_11bits, txid=0x7E8, rxid=0x7E0, address_extension=0x99),
    ),
    "mixed 29": (
        mixed_wide(0xF1, 0x10, 0x99),
        isotp.Address(Mode.Mixed_29bits, source_address=0x10, target_address=0xF1, address_extension=0x99),
    ),
}


@dataclasses.dataclass
class Setting:
    block_size: int = 0
    st_min: int = 0
    frame_length: int = 8
    padding: int | None = 0xCC

    def ours(self) -> IsoTpConfig:
        return IsoTpConfig(
            block_size=self.block_size,
            st_min=self.st_min,
            fd=self.frame_length > 8,
            frame_length=self.frame_length,
            padding=self.padding,
            max_length=100_000,
        )

    def theirs(self) -> dict[str, object]:
        params: dict[str, object] = {
            "blocksize": self.block_size,
            "stmin": self.st_min,
            "tx_data_length": self.frame_length,
            "can_fd": self.frame_length > 8,
            "tx_padding": self.padding,
            "max_frame_size": 100_000,
            "rx_flowcontrol_timeout": 1000,
            "rx_consecutive_frame_timeout": 1000,
        }
        if self.frame_length > 8 and self.padding is not None:
            params["tx_data_min_length"] = 8
        return params


class Wire:
    """Ours on one side, can-isotp on the other, a list of all frames between."""

    def __init__(self, clock: HandClock, addresses: tuple[IsoTpAddress, isotp.Address], setting: Setting) -> None:
        self.clock = clock
        self.ours = IsoTpSession(addresses[0], setting.ours())
        self.to_theirs: list[isotp.CanMessage] = []
        self.log: list[tuple[str, float, CanFrame]] = []
        self.errors: list[Exception] = []
        self.events: list[object] = []
        self.theirs = isotp.TransportLayerLogic(
            rxfn=lambda timeout: self.to_theirs.pop(0) if self.to_theirs else None,
            txfn=self._from_theirs,
            address=addresses[1],
            error_handler=self.errors.append,
            params=setting.theirs(),
        )

    def _from_theirs(self, message: isotp.CanMessage) -> None:
        frame = CanFrame(message.arbitration_id, bytes(message.data), message.is_extended_id, message.is_fd)
        self.log.append(("theirs", self.clock.now_s, frame))
        assert self.ours.feed(frame, self.clock.now_s)
        self._give_ours()

    def step(self) -> None:
        self.ours.poll(self.clock.now_s)
        self._give_ours()
        self.theirs.process()
        self.events += self.ours.events()

    def _give_ours(self) -> None:
        for frame in self.ours.frames_to_send():
            self.log.append(("ours", self.clock.now_s, frame))
            self.to_theirs.append(
                isotp.CanMessage(
                    frame.id, len(frame.data), bytearray(frame.data), extended_id=frame.extended, is_fd=frame.fd
                )
            )

    def run(self, limit_s: float = 20.0) -> None:
        end = self.clock.now_s + limit_s
        quiet = 0
        while quiet < 3 and self.clock.now_s < end:
            before = len(self.log)
            self.step()
            busy = self.ours.sending or self.ours.receiving or self.theirs.transmitting() or len(self.log) > before
            quiet = 0 if busy else quiet + 1
            self.clock.now_ns += int(TICK_S * 1e9)

    def bytes_from(self, side: str) -> list[bytes]:
        return [frame.data for who, _, frame in self.log if who == side]


def pattern(length: int) -> bytes:
    return bytes((i * 7 + 3) & 0xFF for i in range(length))


@pytest.mark.parametrize("name", ADDRESSES)
@pytest.mark.parametrize("length", [1, 5, 6, 7, 8, 20, 150])
@pytest.mark.parametrize("setting", [Setting(), Setting(block_size=3, st_min=2), Setting(padding=None)], ids=repr)
class TestBothWays:
    def test_ours_to_theirs(self, clock: HandClock, name: str, length: int, setting: Setting) -> None:
        wire = Wire(clock, ADDRESSES[name], setting)
        wire.ours.send(pattern(length), clock.now_s)
        wire.run()
        assert bytes(wire.theirs.recv() or b"") == pattern(length)
        assert [type(event) for event in wire.events] == [Sent]
        assert wire.errors == []

    def test_theirs_to_ours(self, clock: HandClock, name: str, length: int, setting: Setting) -> None:
        wire = Wire(clock, ADDRESSES[name], setting)
        wire.theirs.send(pattern(length))
        wire.run()
        received = [event for event in wire.events if isinstance(event, Received)]
        assert [event.payload for event in received] == [pattern(length)]
        assert wire.errors == []

    def test_frames_are_the_same_bytes(self, clock: HandClock, name: str, length: int, setting: Setting) -> None:
        """Both machines cut the same message into the same frames, flow control included."""
        out = Wire(clock, ADDRESSES[name], setting)
        out.ours.send(pattern(length), clock.now_s)
        out.run()
        ours, _ = ADDRESSES[name]
        swapped = _other_side(name)
        back = Wire(clock, (as_module(ours), swapped), setting)
        back.theirs.send(pattern(length))
        back.run()
        assert out.bytes_from("ours") == back.bytes_from("theirs")
        assert out.bytes_from("theirs") == back.bytes_from("ours")
        assert [f.id for w, _, f in out.log if w == "ours"] == [f.id for w, _, f in back.log if w == "theirs"]


def _other_side(name: str) -> isotp.Address:
    """can-isotp's address of the side that is ours in ADDRESSES."""
    return {
        "normal 11": lambda: isotp.Address(Mode.Normal_11bits, txid=0x7E0, rxid=0x7E8),
        "normal 29": lambda: isotp.Address(Mode.Normal_29bits, txid=0x18DA10F1, rxid=0x18DAF110),
        "normal fixed": lambda: isotp.Address(Mode.NormalFixed_29bits, source_address=0xF1, target_address=0x10),
        "extended 11": lambda: isotp.Address(
            Mode.Extended_11bits, txid=0x6F1, rxid=0x640, source_address=0xF1, target_address=0x40
        ),
        "extended 29": lambda: isotp.Address(
            Mode.Extended_29bits, txid=0x1ABCDE1, rxid=0x1ABCDE2, source_address=0xF1, target_address=0x40
        ),
        "mixed 11": lambda: isotp.Address(Mode.Mixed_11bits, txid=0x7E0, rxid=0x7E8, address_extension=0x99),
        "mixed 29": lambda: isotp.Address(
            Mode.Mixed_29bits, source_address=0xF1, target_address=0x10, address_extension=0x99
        ),
    }[name]()


@pytest.mark.parametrize("length", [4095, 4096])
@pytest.mark.parametrize("outward", [True, False])
def test_longest_short_form_and_shortest_long_form(clock: HandClock, length: int, outward: bool) -> None:
    wire = Wire(clock, ADDRESSES["normal 11"], Setting(block_size=8))
    if outward:
        wire.ours.send(pattern(length), clock.now_s)
        wire.run()
        assert bytes(wire.theirs.recv() or b"") == pattern(length)
        frames = wire.bytes_from("ours")
    else:
        wire.theirs.send(pattern(length))
        wire.run()
        assert [e.payload for e in wire.events if isinstance(e, Received)] == [pattern(length)]
        frames = wire.bytes_from("theirs")
    assert len(frames) == 586
    assert frames[-1][0] == 0x29


@pytest.mark.parametrize("frame_length", [12, 24, 64])
@pytest.mark.parametrize("length", [7, 8, 10, 20, 62, 63, 70, 500])
@pytest.mark.parametrize("outward", [True, False])
def test_can_fd(clock: HandClock, frame_length: int, length: int, outward: bool) -> None:
    wire = Wire(clock, ADDRESSES["normal 11"], Setting(frame_length=frame_length, block_size=4))
    if outward:
        wire.ours.send(pattern(length), clock.now_s)
        wire.run()
        assert bytes(wire.theirs.recv() or b"") == pattern(length)
    else:
        wire.theirs.send(pattern(length))
        wire.run()
        assert [e.payload for e in wire.events if isinstance(e, Received)] == [pattern(length)]
    assert wire.errors == []


@pytest.mark.parametrize(("st_min", "least_s"), [(0x05, 0.005), (0xF3, 0.0003), (0x7F, 0.127)])
@pytest.mark.parametrize("outward", [True, False])
def test_least_time_between_frames(clock: HandClock, st_min: int, least_s: float, outward: bool) -> None:
    """STmin asked for by one machine is kept by the other."""
    wire = Wire(clock, ADDRESSES["normal 11"], Setting(st_min=st_min))
    if outward:
        wire.ours.send(pattern(60), clock.now_s)
    else:
        wire.theirs.send(pattern(60))
    wire.run()
    who = "ours" if outward else "theirs"
    times = [time for side, time, frame in wire.log if side == who and frame.data[0] >> 4 == 2]
    gaps = [late - early for early, late in itertools.pairwise(times)]
    assert len(gaps) == 7
    assert min(gaps) >= least_s - 1e-9
    assert max(gaps) <= least_s + 3 * TICK_S


def test_other_machine_refuses_a_long_message(clock: HandClock) -> None:
    """can-isotp answers more than it accepts with overflow; we report it and stop."""
    wire = Wire(clock, ADDRESSES["normal 11"], Setting())
    wire.theirs.params.set("max_frame_size", 4095)
    wire.ours.send(pattern(4096), clock.now_s)
    wire.run()
    failed = [event for event in wire.events if isinstance(event, TransferFailed)]
    assert [event.error.standard for event in failed] == ["N_BUFFER_OVFLW"]
    assert len(wire.bytes_from("ours")) == 1


def test_we_refuse_a_long_message(clock: HandClock) -> None:
    wire = Wire(clock, ADDRESSES["normal 11"], Setting())
    wire.ours = IsoTpSession(ADDRESSES["normal 11"][0], IsoTpConfig(max_length=100))
    wire.theirs.send(pattern(101))
    wire.run()
    assert [type(error).__name__ for error in wire.errors] == ["OverflowError"]
    assert wire.bytes_from("ours") == [bytes.fromhex("320000CCCCCCCCCC")]


def test_to_everybody(clock: HandClock) -> None:
    """Functional requests of both machines carry the same identifier."""
    ours = normal_fixed(0xF1, 0x10, functional_target=0x33)
    wire = Wire(clock, (ours, ADDRESSES["normal fixed"][1]), Setting())
    wire.ours.send(b"\x01\x00", clock.now_s, functional=True)
    wire.step()
    assert wire.log[0][2].id == 0x18DB33F1
    other = isotp.Address(Mode.NormalFixed_29bits, source_address=0xF1, target_address=0x33)
    assert other.get_tx_arbitration_id(isotp.TargetAddressType.Functional) == 0x18DB33F1
