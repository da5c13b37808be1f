"""Messages: round trips, byte by byte and whole; hostile bytes give typed errors only."""

from __future__ import annotations

import contextlib
import random
from collections.abc import Callable

import pytest
from hypothesis import given
from hypothesis import strategies as st

from asleft.codec import doip
from asleft.codec.answer import AnswerMalformed
from asleft.codec.effects import effect_of
from asleft.codec.kwp import codes as kwp_codes
from asleft.codec.kwp import control, data
from asleft.codec.kwp import session as kwp_session
from asleft.codec.kwp.header import (
    KwpBroken,
    KwpFrame,
    KwpSplitter,
    make_frame,
    make_frame_without_address,
    read_obd_9141,
)
from asleft.codec.obd import bitmaps, codes, current, monitor, readiness, vehicle_info
from asleft.codec.obd.fields import Linear
from asleft.codec.obd.parameters import PARAMETERS
from asleft.codec.refusal import Protocol
from asleft.codec.reply import read_reply
from asleft.codec.trouble_code import bytes_of, describe, join_code, split_code, text_of
from asleft.codec.uds import access, clear_codes, read_codes, read_data, restart, routine, session, write_data
from asleft.model.errors import AsleftError, Code
from asleft.model.trouble import CodeKind

LINEAR = [field for parameter in PARAMETERS.values() for field in parameter.fields if isinstance(field, Linear)]
SPLITTABLE = [pid for pid, parameter in PARAMETERS.items() if not parameter.alone]


@given(st.data())
def test_every_linear_value_survives_the_way_back(data: st.DataObject) -> None:
    """Raw bytes to value to raw bytes: no two raw values share a value, none is out of the stated range."""
    field = data.draw(st.sampled_from(LINEAR))
    raw = data.draw(st.binary(min_size=field.size, max_size=field.size))
    head = 0xFF if field.start else raw[0]
    whole = bytes((head,)) * field.start + raw if field.start else raw
    value = field.read(whole).value
    if value is None:
        return
    assert field.low <= value <= field.high
    assert field.write(value) == raw


@given(st.lists(st.sampled_from(SPLITTABLE), min_size=1, max_size=6, unique=True), st.randoms(use_true_random=False))
def test_answers_with_several_parameters_come_apart_again(pids: list[int], rng: random.Random) -> None:
    parts = {pid: rng.randbytes(PARAMETERS[pid].length) for pid in pids}
    reply = b"\x41" + b"".join(bytes((pid,)) + part for pid, part in parts.items())
    assert current.split_current(reply, pids) == parts
    frozen = b"\x42" + b"".join(bytes((pid, 1)) + part for pid, part in parts.items())
    assert current.split_freeze(frozen, pids, 1) == parts
    for pid, part in parts.items():
        assert len(current.read_parameter(pid, part)) == len(PARAMETERS[pid].fields)


@given(st.lists(st.sampled_from(SPLITTABLE), min_size=1, max_size=6, unique=True), st.integers(0, 30))
def test_a_shortened_answer_is_never_read_as_whole(pids: list[int], cut: int) -> None:
    reply = b"\x41" + b"".join(bytes((pid,)) + bytes(PARAMETERS[pid].length) for pid in pids)
    short = reply[: max(0, len(reply) - 1 - cut)]
    with contextlib.suppress(AnswerMalformed):
        assert len(current.split_current(short, pids)) < len(pids)


@given(st.integers(0, 0xFFFF), st.integers(0, 0xFF))
def test_codes_survive_the_way_back(number: int, kind: int) -> None:
    raw = number.to_bytes(2, "big")
    assert bytes_of(text_of(raw)) == raw
    assert split_code(join_code(text_of(raw), kind)) == (text_of(raw), kind)


def test_every_code_has_a_description() -> None:
    for number in range(0, 0x10000, 7):
        assert describe(text_of(number.to_bytes(2, "big"))).text


@st.composite
def kwp_frames(draw: st.DrawFn) -> tuple[bytes, KwpFrame]:
    payload = draw(st.binary(min_size=1, max_size=255))
    if draw(st.booleans()):
        return make_frame_without_address(payload), KwpFrame(payload)
    target, source, functional = draw(st.integers(0, 255)), draw(st.integers(0, 255)), draw(st.booleans())
    frame = make_frame(payload, target, source, functional=functional)
    return frame, KwpFrame(payload, target, source, functional)


@given(st.lists(kwp_frames(), max_size=5), st.randoms(use_true_random=False))
def test_k_line_frames_in_any_pieces(frames: list[tuple[bytes, KwpFrame]], rng: random.Random) -> None:
    stream = b"".join(raw for raw, _ in frames)
    expected = [frame for _, frame in frames]
    assert KwpSplitter().feed(stream) == expected
    splitter, found = KwpSplitter(), []
    for byte in stream:
        found += splitter.feed(bytes((byte,)))
    assert found == expected
    splitter, found, rest = KwpSplitter(), [], stream
    while rest:
        size = rng.randint(1, 40)
        found, rest = found + splitter.feed(rest[:size]), rest[size:]
    assert found == expected
    assert splitter.gap() is None


@given(kwp_frames(), st.data())
def test_one_wrong_bit_never_gives_another_payload(frame: tuple[bytes, KwpFrame], data: st.DataObject) -> None:
    """The checksum finds every single wrong bit behind the header, and none slips through in the header either."""
    raw, good = frame
    bit = data.draw(st.integers(0, 8 * len(raw) - 1))
    bad = bytearray(raw)
    bad[bit // 8] ^= 1 << bit % 8
    splitter = KwpSplitter()
    items = splitter.feed(bytes(bad))
    assert good not in items
    whole = [item for item in items if isinstance(item, KwpFrame)]
    if bit // 8 >= 4:
        assert whole == []


EIDS = st.binary(min_size=6, max_size=6).filter(any)
VINS = st.text(alphabet="ABCDEFGHJKLMNPRSTUVWXYZ0123456789", min_size=17, max_size=17)
BYTE, WORD = st.integers(0, 0xFF), st.integers(0, 0xFFFF)
FOUR = st.binary(min_size=4, max_size=4)
TAIL = st.one_of(st.just(b""), FOUR)
MESSAGES = st.one_of(
    st.builds(doip.GenericNack, BYTE),
    st.just(doip.VehicleRequest()),
    st.builds(doip.VehicleRequest, eid=EIDS),
    st.builds(doip.VehicleRequest, vin=VINS),
    st.builds(doip.VehicleAnnouncement, VINS, WORD, EIDS, EIDS, BYTE, st.one_of(st.none(), BYTE)),
    st.builds(doip.ActivationRequest, WORD, BYTE, FOUR, TAIL),
    st.builds(doip.ActivationAnswer, WORD, WORD, BYTE, FOUR, TAIL),
    st.just(doip.AliveRequest()),
    st.builds(doip.AliveAnswer, WORD),
    st.just(doip.EntityRequest()),
    st.builds(doip.EntityAnswer, BYTE, BYTE, BYTE, st.one_of(st.none(), st.integers(0, 0xFFFFFFFF))),
    st.just(doip.PowerRequest()),
    st.builds(doip.PowerAnswer, BYTE),
    st.builds(doip.Diagnostic, WORD, WORD, st.binary(min_size=1, max_size=300)),
    st.builds(doip.DiagnosticAck, WORD, WORD, BYTE, st.binary(max_size=8)),
    st.builds(doip.DiagnosticNack, WORD, WORD, BYTE, st.binary(max_size=8)),
)


@given(st.lists(MESSAGES, max_size=5), st.integers(1, 50))
def test_doip_messages_in_any_pieces(messages: list[doip.DoipMessage], size: int) -> None:
    stream = b"".join(doip.encode(message) for message in messages)
    assert DoipItems().of(stream, len(stream) or 1) == messages
    assert DoipItems().of(stream, 1) == messages
    assert DoipItems().of(stream, size) == messages


class DoipItems:
    def of(self, stream: bytes, size: int) -> list[object]:
        splitter = doip.DoipSplitter()
        return [item for i in range(0, len(stream), size) for item in splitter.feed(stream[i : i + size])]


READERS: list[Callable[[bytes], object]] = [
    lambda b: read_reply(b"\x22\xf1\x90", b),
    lambda b: current.split_current(b, [0x05, 0x0C, 0x42]),
    lambda b: current.split_current(b, [0x68]),
    lambda b: current.split_freeze(b, [0x02]),
    lambda b: [current.read_parameter(pid, b) for pid in (0x05, 0x0C, 0x34, 0x68)],
    lambda b: bitmaps.supported(0, b),
    readiness.read_readiness,
    lambda b: codes.read_codes(b, CodeKind.STORED),
    lambda b: codes.read_codes(b, CodeKind.PERMANENT, counted=False),
    codes.freeze_code,
    codes.read_cleared,
    lambda b: [vehicle_info.read_info(b, infotype) for infotype in (b[1:2] or b"\x00")],
    lambda b: monitor.read_monitor(b, 1),
    lambda b: session.read_answer(b, 3),
    lambda b: restart.read_answer(b, 4),
    clear_codes.read_answer,
    read_codes.read_count,
    read_codes.read_list,
    lambda b: read_codes.read_snapshots(b, {0xF400: 1, 0xF40C: 2}),
    lambda b: read_codes.read_extended(b, {1: 2}),
    lambda b: read_data.split_answer(b, [(0xF190, 17), (0x0100, 2)]),
    lambda b: read_data.read_answer(b, 0xF190),
    lambda b: access.read_seed(b, 1),
    lambda b: write_data.read_answer(b, 0xF190),
    lambda b: routine.read_answer(b, routine.RoutineAction.RESULT, 0x0203),
    kwp_codes.read_codes,
    kwp_session.read_started,
    lambda b: data.read_value(b, 1),
    lambda b: control.read_result(b, 1),
    read_obd_9141,
    doip.decode,
]  # fmt: skip

HEADS = [
    "", "41", "42", "43", "46", "49", "4A", "44", "50 03", "51 04", "54", "58", "59 01", "59 02", "59 04", "59 06",
    "61 01", "62", "62 F1 90", "67 01", "6E F1 90", "71 03 02 03", "73 01", "7F 22", "C1", "48 6B 10", "02 FD",
    "41 05 7B 0C", "49 02 01", "49 04 02", "49 0A 01", "46 01 01 0A", "42 02 00", "43 02",
    "59 04 21 76 54 09 01 02 F4 00",
]  # fmt: skip


def test_hostile_answers_give_typed_errors_only() -> None:
    """20,000 seeded answers, half of them with a plausible beginning, through every reader in turn."""
    rng = random.Random(404)
    heads = [bytes.fromhex(head) for head in HEADS]
    errors: list[AsleftError] = []
    for i in range(20_000):
        reply = (rng.choice(heads) if rng.random() < 0.7 else b"") + rng.randbytes(
            rng.choice([0, 1, 2, 3, 4, 9, 17, 40])
        )
        try:
            READERS[i % len(READERS)](reply)
        except AsleftError as error:
            errors.append(error)
    assert {error.code for error in errors} == {Code.ANSWER_MALFORMED, Code.TRANSFER_BROKEN}
    assert all(error.sentence() for error in errors)
    assert 10_000 < len(errors) < 20_000


def test_hostile_streams_give_items_only() -> None:
    rng = random.Random(405)
    kwp, stream = KwpSplitter(), doip.DoipSplitter()
    kinds = set[str]()
    for _ in range(5_000):
        kinds |= {type(item).__name__ for item in kwp.feed(rng.randbytes(rng.randint(0, 30)))}
        if rng.random() < 0.1:
            kwp.gap()
        if stream.broken:
            stream = doip.DoipSplitter(longest=200)
        kind, length = (
            rng.choice([0, 4, 5, 6, 7, 8, 0x4002, 0x8001, 0x8002, 0x1234]),
            rng.choice([0, 1, 2, 7, 9, 33, 250]),
        )
        head = b"\x02\xfd" if rng.random() < 0.9 else rng.randbytes(2)
        message = head + kind.to_bytes(2, "big") + length.to_bytes(4, "big") + rng.randbytes(length)
        kinds |= {type(item).__name__ for item in stream.feed(message)}
    assert {"KwpFrame", "KwpBroken", "DoipBroken", "UnknownPayload", "ActivationRequest", "Diagnostic"} <= kinds
    assert KwpBroken.__name__ in kinds


@given(st.binary(max_size=20), st.sampled_from(list(Protocol)))
def test_any_request_has_an_effect_and_any_longer_one_is_not_less_known(request_: bytes, protocol: Protocol) -> None:
    effect_of(request_, protocol)
    if request_[:1] not in (b"\x10", b"\x30", b"\x31"):
        assert effect_of(request_ + b"\x00", protocol) is effect_of(request_, protocol) or not request_


@pytest.mark.parametrize("field", LINEAR, ids=lambda field: field.signal)
def test_steps_are_as_wide_as_stated(field: Linear) -> None:
    """The value of raw 1 lies one resolution above that of raw 0."""
    zero = bytes((0xFF,)) * field.start + bytes(field.size)
    one = zero[:-1] + b"\x01"
    if field.support is not None or not field.start:
        low, high = field.read(zero).value, field.read(one).value
        assert low is not None
        assert high is not None
        assert high - low == pytest.approx(field.resolution)
        assert field.signed or low == pytest.approx(field.low)
