"""K-line and KWP2000 in virtual time: framing, times, services."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from asleft.bench.clock import StepClock
from asleft.bench.identifiers import Identifier, Write, number, stored, text
from asleft.bench.kline import KLine
from asleft.bench.kwp import KwpModule, KwpTiming
from asleft.bench.kwp_frames import Message, Mode, decode, size
from asleft.bench.kwp_obd import split
from asleft.bench.kwp_services import kwp_status
from asleft.bench.memory import Memory
from asleft.bench.obd import Obd
from asleft.bench.routines import Routine, RoutineState
from asleft.bench.security import SecurityLevel, bench_key
from asleft.bench.service import refuse_if
from asleft.bench.trouble_memory import TroubleCode
from asleft.model.origin import Origin

VIN = "1M8GDM9AXKP042788"

#: Whole messages. Source: checks section 3 (public traces, recomputed; the last three computed).
PUBLISHED = [
    (Message(b"\x81", Mode.FUNCTIONAL, 0x33, 0xF1), "C133F18166"),
    (Message(b"\x01\x0c", Mode.FUNCTIONAL, 0x33, 0xF1), "C233F1010CF3"),
    (Message(b"\x01\x05", Mode.FUNCTIONAL, 0x33, 0xF1), "C233F10105EC"),
    (Message(b"\xc1\x8f\xef", Mode.PHYSICAL, 0xF1, 0x11), "83F111C18FEFC4"),
    (Message(b"\x81", Mode.PHYSICAL, 0x01, 0xF1), "8101F181F4"),
    (Message(b"\x41\x05\x7b", Mode.PHYSICAL, 0xF1, 0x11), "83F11141057B46"),
    (Message(b"\x3e", Mode.PHYSICAL, 0x10, 0xF1), "8110F13EC0"),
    (Message(b"\x1a\x9b", Mode.PHYSICAL, 0x01, 0xF1), "8201F11A9B29"),
    (Message(b"\x81", Mode.NONE), "018182"),
]


@pytest.mark.parametrize(("message", "whole"), PUBLISHED)
def test_messages_as_published(message: Message, whole: str) -> None:
    assert message.encode() == bytes.fromhex(whole)
    assert decode(bytes.fromhex(whole)) == message


def test_a_wrong_checksum_is_not_read() -> None:
    """One public source prints 69 where 29 is right (checks, section 3)."""
    assert decode(bytes.fromhex("8201F11A9B69")) is None


def test_a_long_message_has_a_length_byte() -> None:
    whole = Message(bytes(70), Mode.PHYSICAL, 0x10, 0xF1).encode()
    assert whole[:4] == bytes.fromhex("8010F146")


@given(
    st.binary(min_size=1, max_size=255),
    st.sampled_from(list(Mode)),
    st.integers(0, 255),
    st.integers(0, 255),
    st.booleans(),
)
def test_framing_round_trip(data: bytes, mode: Mode, target: int, source: int, length_byte: bool) -> None:
    addressed = mode is not Mode.NONE
    message = Message(data, mode, target if addressed else 0, source if addressed else 0)
    whole = message.encode(length_byte=length_byte)
    assert decode(whole) == message
    assert size(whole) == len(whole)
    assert all(size(whole[:n]) in {None, len(whole)} for n in range(len(whole)))


class Stand:
    """One module on a line and a tester in virtual time."""

    def __init__(self, module: KwpModule) -> None:
        self.clock = StepClock()
        self.line = KLine(self.clock)
        self.module = module
        self.bytes: list[tuple[int, float, bool]] = []
        module.attach_line(self.line, self.clock)
        self.node = self.line.join("tester", lambda value, end, own: self.bytes.append((value, end, own)))
        module.power_on()
        self.run(1.0)

    def run(self, seconds: float) -> None:
        self.clock.run_until(self.clock.now() + seconds)

    def raw(self, whole: bytes, wait_s: float = 0.4, gap_s: float = 0.005) -> bytes:
        """What the module sends after these bytes."""
        self.bytes.clear()
        self.node.send(whole, gap_s)
        self.run(wait_s)
        return bytes(value for value, _, own in self.bytes if not own)

    def start(self) -> bytes:
        self.node.pull_low(0.025)
        self.run(0.050)
        return self.raw(bytes.fromhex("8111F18104"))

    def ask(self, data: str, wait_s: float = 0.4, mode: Mode = Mode.PHYSICAL) -> list[str]:
        """All answers' data, in hexadecimal."""
        target = 0x33 if mode is Mode.FUNCTIONAL else 0x11
        rest = self.raw(Message(bytes.fromhex(data), mode, target, 0xF1).encode(), wait_s)
        answers = []
        while rest:
            length = size(rest)
            assert length is not None
            message = decode(rest[:length])
            assert message is not None
            assert (message.target, message.source) == (0xF1, 0x11)
            answers.append(message.data.hex())
            rest = rest[length:]
        return answers


def make(**content: object) -> Stand:
    return Stand(KwpModule("engine", 0x11, **content))  # type: ignore[arg-type]


def open_stand(**content: object) -> Stand:
    stand = make(**content)
    assert stand.start() == bytes.fromhex("83F111C1EF8FC4")
    return stand


def test_the_line_is_a_bench_and_echoes() -> None:
    clock = StepClock()
    line = KLine(clock)
    heard: list[tuple[int, float, bool]] = []
    node = line.join("a", lambda *byte: heard.append(byte))
    node.send(b"\x55\xaa", gap_s=0.005)
    clock.run_until(1.0)
    assert line.origin is Origin.BENCH
    byte_s = 10 / 10_400
    assert heard == [
        (0x55, pytest.approx(byte_s), True),
        (0xAA, pytest.approx(2 * byte_s + 0.005), True),
    ]


def test_two_who_send_at_once_spoil_their_bytes() -> None:
    clock = StepClock()
    line = KLine(clock)
    heard: list[int] = []
    line.join("ear", lambda value, _end, _own: heard.append(value))
    for name, value in (("a", 0xF0), ("b", 0x3C)):
        line.join(name, lambda *_byte: None).send(bytes([value]))
    clock.run_until(1.0)
    assert heard == [0x30]


def test_deaf_until_started() -> None:
    stand = make()
    assert stand.ask("3E") == []
    assert stand.start() == bytes.fromhex("83F111C1EF8FC4")
    assert stand.ask("3E") == ["7e"]


@pytest.mark.parametrize(("low_s", "high_s"), [(0.020, 0.025), (0.030, 0.025), (0.025, 0.010), (0.025, 0.040)])
def test_a_start_with_wrong_levels_is_not_heard(low_s: float, high_s: float) -> None:
    stand = make()
    stand.node.pull_low(low_s)
    stand.run(low_s + high_s)
    assert stand.raw(bytes.fromhex("8111F18104")) == b""


def test_functional_start_as_published() -> None:
    stand = make()
    stand.node.pull_low(0.025)
    stand.run(0.050)
    assert stand.raw(bytes.fromhex("C133F18166")) == bytes.fromhex("83F111C1EF8FC4")


def test_other_addresses_are_not_answered() -> None:
    stand = open_stand()
    assert stand.raw(Message(b"\x3e", Mode.PHYSICAL, 0x12, 0xF1).encode()) == b""


def test_without_addresses_it_answers_without() -> None:
    stand = open_stand()
    assert stand.raw(Message(b"\x3e", Mode.NONE).encode()) == Message(b"\x7e", Mode.NONE).encode()


def test_a_length_byte_is_understood() -> None:
    stand = open_stand()
    whole = Message(b"\x3e", Mode.PHYSICAL, 0x11, 0xF1).encode(length_byte=True)
    assert stand.raw(whole) == Message(b"\x7e", Mode.PHYSICAL, 0xF1, 0x11).encode()


def test_answers_within_p2_and_leaves_p1_between_bytes() -> None:
    stand = open_stand(timing=KwpTiming(latency_s=0.040, p1_s=0.010))
    stand.ask("3E")
    asked = [end for _, end, own in stand.bytes if own][-1]
    ends = [end for _, end, own in stand.bytes if not own]
    assert ends[0] - stand.line.byte_s - asked == pytest.approx(0.040)
    assert ends[1] - ends[0] == pytest.approx(0.010 + stand.line.byte_s)


def test_a_request_before_p3_min_is_not_heard() -> None:
    stand = open_stand()
    assert stand.ask("3E", wait_s=0.07) == ["7e"]
    assert stand.ask("3E") == []
    assert stand.ask("3E") == ["7e"]


def test_bytes_too_far_apart_are_no_message() -> None:
    stand = open_stand()
    assert stand.raw(bytes.fromhex("8111F13EC1"), gap_s=0.021) == b""
    assert stand.raw(bytes.fromhex("8111F13EC1"), gap_s=0.020) != b""


def test_a_wrong_checksum_is_not_answered() -> None:
    assert open_stand().raw(bytes.fromhex("8111F13EC2")) == b""


def test_communication_ends_after_p3_max() -> None:
    stand = open_stand()
    assert stand.ask("1087") == ["5087"]
    stand.run(5.0)
    assert not stand.module.open
    assert stand.module.session == 0x81
    assert stand.ask("3E") == []
    stand.start()
    assert stand.ask("3E") == ["7e"]


def test_tester_present_holds_it_open() -> None:
    stand = open_stand()
    for _ in range(4):
        assert stand.ask("3E02", wait_s=3.0) == []
    assert stand.module.open


def test_stop_communication_and_key_off_close() -> None:
    stand = open_stand()
    assert stand.ask("82") == ["c2"]
    assert stand.ask("3E") == []
    stand.start()
    stand.module.power_off()
    assert stand.ask("3E") == []
    stand.module.power_on()
    stand.run(1.0)
    assert stand.ask("3E") == []
    stand.start()
    assert stand.ask("3E") == ["7e"]


def test_identifiers() -> None:
    controlled: list[tuple[int, bytes]] = []

    def control(option: int, state: bytes) -> bytes:
        controlled.append((option, state))
        return state

    stand = open_stand(
        identifiers=[
            text(0x9B, "part", "ENG-1"),
            number(0x05, "coolant", lambda: 83.0, scale=1.0, offset=-40.0, size=1),
            stored(0x20, "variant", b"ab", write=Write()),
            Identifier(0x30, "fan", control=control),
        ]
    )
    assert stand.ask("1A9B") == ["5a9b454e472d31"]
    assert stand.ask("2105") == ["61057b"]
    assert stand.ask("219B") == ["7f2112"]
    assert stand.ask("1A05") == ["7f1a12"]
    assert stand.ask("3B206364") == ["7f3b80"]
    assert stand.ask("1087") == ["5087"]
    assert stand.ask("3B2063") == ["7f3b12"]
    assert stand.ask("3B206364") == ["7b20"]
    assert stand.ask("2120") == ["61206364"]
    assert stand.ask("3B0500") == ["7f3b31"]
    assert stand.ask("30300755") == ["70300755"]
    assert controlled == [(7, b"\x55")]
    assert stand.module.peek(0x20) == b"cd"


def test_long_answers_and_slow_writes() -> None:
    stand = open_stand(
        identifiers=[text(0x01, "long", "x" * 100), stored(0x02, "slow", b"a", write=Write(takes_s=6.0))]
    )
    assert stand.ask("2101") == ["6101" + "78" * 100]
    stand.ask("1087")
    assert stand.ask("3B0262", wait_s=8.0) == ["7f3b78"] * 2 + ["7b02"]


def test_routines_by_local_identifier() -> None:
    world = {"rpm": 900.0}
    routine = Routine(0x07, "stop learn", start_conditions=(refuse_if(lambda: world["rpm"] > 50, 0x22),), takes_s=1.0)
    stand = open_stand(routines=[routine])
    assert stand.ask("3107") == ["7f3180"]
    stand.ask("1087")
    assert stand.ask("3107") == ["7f3122"]
    world["rpm"] = 0.0
    assert stand.ask("3307") == ["7f3322"]
    assert stand.ask("3107") == ["7107"]
    assert stand.ask("3307") == ["7f3323"]
    assert stand.ask("3107") == ["7f3122"]
    stand.run(1.0)
    assert stand.ask("3307") == ["73070200"]
    assert stand.module.routine_state(0x07) is RoutineState.STORED
    assert stand.ask("3107") == ["7107"]
    assert stand.ask("3207") == ["7207"]
    assert stand.ask("3108") == ["7f3112"]


def test_codes() -> None:
    refusal: list[int | None] = [0x22]
    stand = open_stand(
        codes=[
            TroubleCode(0x014300, "a", lamp=True, clearable=lambda: refusal[0]),
            TroubleCode(0x042000, "b", trips=2),
            TroubleCode(0x056200, "c"),
        ]
    )
    assert stand.ask("1800FF00") == ["5800"]
    stand.module.codes.report(0x014300, failing=True)
    stand.module.codes.report(0x042000, failing=True)
    stand.module.codes.report(0x042000, failing=False)
    assert stand.ask("1800FF00") == ["5802" + "0143e0" + "042020"]
    assert stand.ask("1801FF00") == ["5803" + "0143e0" + "042020" + "056210"]
    assert stand.ask("170143") == ["57010143e0"]
    assert stand.ask("14FF00") == ["7f1422"]
    refusal[0] = None
    assert stand.ask("140143") == ["7f1431"]
    assert stand.ask("14FF00") == ["54ff00"]
    assert stand.ask("1800FF00") == ["5800"]


@pytest.mark.parametrize(("status", "kwp"), [(0x50, 0x10), (0x2F, 0x60), (0xAF, 0xE0), (0x2C, 0x20), (0x00, 0x00)])
def test_status_bytes(status: int, kwp: int) -> None:
    assert kwp_status(status) == kwp


def test_security_with_its_own_refusal_numbers() -> None:
    stand = open_stand(security=[SecurityLevel(0x01, sessions=frozenset({0x87}))])
    assert stand.ask("2701") == ["7f2780"]
    stand.ask("1087")
    seed = bytes.fromhex(stand.ask("2701")[0])[2:]
    assert stand.ask("2702" + bench_key(seed).hex()) == ["6702"]
    assert stand.ask("2703") == ["7f2712"]


def obd_stand() -> Stand:
    codes = [TroubleCode(0x014300 + 0x100 * index, str(index), emission=True) for index in range(5)]
    return open_stand(obd=Obd(values={0x05: lambda: 83.0, 0x0C: lambda: 1726.0}, vin=VIN), codes=codes)


def test_obd_on_the_line() -> None:
    """One parameter a request, codes three a message, the VIN in five messages of four bytes."""
    stand = obd_stand()
    assert stand.ask("0105", mode=Mode.FUNCTIONAL) == ["41057b"]
    assert stand.ask("010C05", mode=Mode.FUNCTIONAL) == []
    assert stand.ask("0133", mode=Mode.FUNCTIONAL) == []
    assert stand.ask("03", mode=Mode.FUNCTIONAL) == ["43" + "00" * 6]
    for item, _ in list(stand.module.codes.codes()):
        stand.module.codes.report(item.code, failing=True)
    assert stand.ask("03", mode=Mode.FUNCTIONAL) == ["43014301440145", "43014601470000"]
    vin = stand.ask("0902", mode=Mode.FUNCTIONAL)
    assert [answer[:6] for answer in vin] == [f"4902{index:02x}" for index in range(1, 6)]
    assert bytes.fromhex("".join(answer[6:] for answer in vin)) == b"\x00\x00\x00" + VIN.encode()
    assert stand.ask("0900", mode=Mode.FUNCTIONAL) == ["49000140000000"]
    assert stand.ask("04", mode=Mode.FUNCTIONAL) == ["44"]


def test_split_leaves_others_alone() -> None:
    assert split(b"\x41\x05\x7b") == [b"\x41\x05\x7b"]


def test_restart_and_sessions() -> None:
    stand = open_stand()
    assert stand.ask("1099") == ["7f1012"]
    assert stand.ask("1087") == ["5087"]
    assert stand.ask("20") == ["60"]
    assert stand.module.session == 0x81
    assert stand.ask("1102") == ["7f1112"]
    assert stand.ask("1101", wait_s=0.1) == ["51"]
    assert not stand.module.awake
    stand.run(1.0)
    assert stand.ask("3E") == []


def test_state_comes_back_and_battery_memory_is_lost() -> None:
    memory = Memory()
    memory.declare("learned", 0)
    first = KwpModule("m", 0x11, memory=memory, codes=[TroubleCode(0x014300, "a")])
    memory["learned"] = 7
    first.codes.report(0x014300, failing=True)
    again = Memory()
    again.declare("learned", 0)
    second = KwpModule("m", 0x11, memory=again, codes=[TroubleCode(0x014300, "a")])
    second.restore(first.save(), powered=True)
    assert second.awake
    assert again["learned"] == 7
    assert second.codes.status(0x014300) == 0x2F
    second.battery_lost()
    assert not second.awake


def test_slow_module_says_pending() -> None:
    stand = make(timing=replace(KwpTiming(), latency_s=0.2))
    stand.start()
    assert stand.ask("3E") == ["7f3e78", "7e"]
