"""ISO-TP on the clock: frames as can-isotp and scapy make them (checks, section 3), and times that hold."""

from __future__ import annotations

import itertools

import pytest

from asleft.bench.bus import InLoopBus
from asleft.bench.bus_faults import Faults
from asleft.bench.clock import StepClock
from asleft.bench.transport import IsoTpNode, TransportSettings
from asleft.model.frame import CanFrame

VIN_ANSWER = bytes.fromhex("62F190") + b"1M8GDM9AXKP042788"


class Pair:
    """A tester and a module, and everything that was on the wire."""

    def __init__(self, clock: StepClock, bus: InLoopBus, **module: object) -> None:
        self.clock = clock
        self.wire: list[CanFrame] = []
        self.errors: list[Exception] = []
        self.to_module: list[bytes] = []
        self.to_tester: list[bytes] = []
        bus.join("tap", self.wire.append)
        self.tester = IsoTpNode(
            bus, clock, TransportSettings(0x7E8, 0x7E0, padding=None), lambda m, _f: self.to_tester.append(m), name="t"
        )
        self.module = IsoTpNode(
            bus,
            clock,
            TransportSettings(0x7E0, 0x7E8, functional=(0x7DF,), padding=None, **module),  # type: ignore[arg-type]
            lambda m, _f: self.to_module.append(m),
            name="m",
            on_error=self.errors.append,
        )

    def texts(self) -> list[str]:
        return [frame.text() for frame in self.wire]


def test_a_short_message_is_one_frame(clock: StepClock, bus: InLoopBus) -> None:
    pair = Pair(clock, bus)
    pair.tester.send(bytes.fromhex("22F190"))
    clock.run_until(1.0)
    assert pair.texts() == ["7E0 03 22 F1 90"]
    assert pair.to_module == [bytes.fromhex("22F190")]


def test_a_long_answer_is_frame_for_frame_as_published(clock: StepClock, bus: InLoopBus) -> None:
    """Source: checks section 3, can-isotp and scapy alike."""
    pair = Pair(clock, bus)
    pair.module.send(VIN_ANSWER)
    clock.run_until(1.0)
    assert pair.texts() == [
        "7E8 10 14 62 F1 90 31 4D 38",
        "7E0 30 08 00",
        "7E8 21 47 44 4D 39 41 58 4B",
        "7E8 22 50 30 34 32 37 38 38",
    ]
    assert pair.to_tester == [VIN_ANSWER]


@pytest.mark.parametrize("length", [1, 7, 8, 13, 14, 62, 150, 4095])
def test_every_length_arrives_whole_in_both_directions(clock: StepClock, bus: InLoopBus, length: int) -> None:
    message = bytes(number % 251 for number in range(length))
    pair = Pair(clock, bus)
    pair.tester.send(message)
    pair.module.send(message)
    clock.run_until(10.0)
    assert pair.to_module == [message]
    assert pair.to_tester == [message]


def test_separation_time_is_kept(clock: StepClock, bus: InLoopBus) -> None:
    """STmin 20 ms asked by the module: consecutive frames start at least that long after the end of the one before."""
    pair = Pair(clock, bus, stmin=20, block_size=0)
    pair.tester.send(bytes(50))
    clock.run_until(5.0)
    starts = [frame.time_s or 0.0 for frame in pair.wire if frame.data[0] >> 4 == 2]
    gaps = [after - before for before, after in itertools.pairwise(starts)]
    assert len(gaps) == 6
    assert all(0.020 <= gap <= 0.0206 for gap in gaps)


def test_a_reserved_separation_time_counts_as_127_ms(clock: StepClock, bus: InLoopBus) -> None:
    pair = Pair(clock, bus)
    tester = bus.join("raw", lambda frame: tester.send(CanFrame(0x7E0, b"\x30\x00\x9a")) if first(frame) else None)

    def first(frame: CanFrame) -> bool:
        return frame.id == 0x7E8 and frame.data[0] >> 4 == 1

    pair.tester.leave()
    pair.module.send(bytes(30))
    clock.run_until(5.0)
    starts = [frame.time_s or 0.0 for frame in pair.wire if frame.data[0] >> 4 == 2]
    assert len(starts) == 4
    assert starts[1] - starts[0] == pytest.approx(0.127, abs=1e-3)


def test_without_flow_control_the_transfer_ends_after_a_second(clock: StepClock, bus: InLoopBus) -> None:
    pair = Pair(clock, bus)
    pair.tester.leave()
    pair.module.send(VIN_ANSWER)
    clock.run_until(0.99)
    assert pair.module.sending
    clock.run_until(1.1)
    assert not pair.module.sending
    assert "FlowControlTimeoutError" in type(pair.errors[0]).__name__


def test_a_missing_consecutive_frame_ends_the_reception(clock: StepClock, bus: InLoopBus) -> None:
    bus.faults = Faults(lost=1.0, only=lambda frame: frame.data[:1] == b"\x22")
    pair = Pair(clock, bus)
    pair.tester.send(bytes(30))
    clock.run_until(5.0)
    assert pair.to_module == []
    assert type(pair.errors[0]).__name__ in {"WrongSequenceNumberError", "ConsecutiveFrameTimeoutError"}
    bus.faults = Faults()
    pair.tester.send(bytes(30))
    clock.run_until(10.0)
    assert pair.to_module == [bytes(30)]


def test_a_wait_frame_is_waited_for(clock: StepClock, bus: InLoopBus) -> None:
    pair = Pair(clock, bus)
    pair.tester.leave()
    raw = bus.join("raw", lambda _frame: None)
    pair.module.send(VIN_ANSWER)
    for moment, status in ((0.5, 0x31), (1.2, 0x31), (1.9, 0x30)):
        clock.call_at(moment, lambda status=status: raw.send(CanFrame(0x7E0, bytes([status, 0, 0]))))
    clock.run_until(3.0)
    assert [frame.time_s for frame in pair.wire if frame.data[0] == 0x22] == [pytest.approx(1.9, abs=0.01)]


def test_too_long_a_message_is_answered_with_overflow(clock: StepClock, bus: InLoopBus) -> None:
    pair = Pair(clock, bus, max_length=100)
    pair.tester.send(bytes(101))
    clock.run_until(2.0)
    assert pair.texts()[1].startswith("7E8 32")
    assert pair.to_module == []


def test_functional_requests_are_single_frames(clock: StepClock, bus: InLoopBus) -> None:
    pair = Pair(clock, bus)
    raw = bus.join("raw", lambda _frame: None)
    raw.send(CanFrame(0x7DF, bytes.fromhex("0201050000000000")))
    raw.send(CanFrame(0x7DF, bytes.fromhex("1014010500000000")))
    raw.send(CanFrame(0x7DF, b""))
    clock.run_until(1.0)
    assert pair.to_module == [b"\x01\x05"]


def test_other_identifiers_and_formats_are_not_heard(clock: StepClock, bus: InLoopBus) -> None:
    pair = Pair(clock, bus)
    raw = bus.join("raw", lambda _frame: None)
    raw.send(CanFrame(0x7E1, b"\x02\x3e\x00"))
    raw.send(CanFrame(0x7E0, b"\x02\x3e\x00", extended=True))
    clock.run_until(1.0)
    assert pair.to_module == []


def test_29_bit_addresses(clock: StepClock, bus: InLoopBus) -> None:
    got: list[bytes] = []
    settings = TransportSettings(0x18DA10F1, 0x18DAF110, extended=True, functional=(0x18DB33F1,))
    IsoTpNode(bus, clock, settings, lambda message, _f: got.append(message), name="m")
    raw = bus.join("raw", lambda _frame: None)
    raw.send(CanFrame(0x18DA10F1, b"\x02\x3e\x00", extended=True))
    raw.send(CanFrame(0x18DB33F1, b"\x02\x01\x00", extended=True))
    clock.run_until(1.0)
    assert got == [b"\x3e\x00", b"\x01\x00"]


def test_a_node_that_was_bus_off_can_send_again(clock: StepClock, bus: InLoopBus) -> None:
    """The frame it held back is lost; it does not wait for it for ever."""
    pair = Pair(clock, bus)
    pair.module.send(b"\x7e\x00")
    bus.set_bus_off("m")
    clock.run_until(0.5)
    pair.module.send(b"\x7e\x01")
    clock.run_until(1.5)
    assert pair.to_tester == []
    assert ["bus off" in str(error) for error in pair.errors] == [True]
    bus.node("m").recover()
    clock.run_until(2.0)
    pair.module.send(b"\x7e\x02")
    clock.run_until(3.0)
    assert pair.to_tester == [b"\x7e\x02"]
