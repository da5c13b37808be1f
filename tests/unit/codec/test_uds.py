"""UDS: answers read service by service, malformed ones refused with a typed error."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from asleft.codec.answer import AnswerMalformed
from asleft.codec.reply import Negative, Pending, Positive, read_reply
from asleft.codec.uds import (
    access,
    clear_codes,
    code_setting,
    communication,
    control_output,
    keep_alive,
    read_codes,
    read_data,
    restart,
    routine,
    session,
    write_data,
)
from asleft.codec.uds.read_codes import Snapshot, StatusCode
from asleft.codec.uds.routine import RoutineAction
from asleft.model.errors import InputError


def h(text: str) -> bytes:
    return bytes.fromhex(text)


class TestReply:
    def test_three_kinds(self) -> None:
        assert read_reply(h("22F190"), h("62F19031")) == Positive(h("62F19031"))
        assert read_reply(h("22F190"), h("7F2231")) == Negative(0x22, 0x31)
        assert read_reply(h("22F190"), h("7F2278")) == Pending(0x22)

    @pytest.mark.parametrize("reply", ["", "7F", "7F22", "7F223100", "7F3122", "63F190", "22F190", "00"])
    def test_malformed(self, reply: str) -> None:
        with pytest.raises(AnswerMalformed):
            read_reply(h("22F190"), h(reply))

    def test_a_refusal_speaks(self) -> None:
        answer = read_reply(h("31010203"), h("7F3184"))
        assert isinstance(answer, Negative)
        assert answer.refusal.signals == ("engine-speed",)
        assert "start it" in answer.refusal.message.text


class TestAnswers:
    def test_restart(self) -> None:
        assert restart.read_answer(h("5101"), 1) is None
        assert restart.read_answer(h("51040F"), 4) == 15

    def test_empty_ones(self) -> None:
        clear_codes.read_answer(h("54"))
        keep_alive.read_answer(h("7E00"))
        write_data.read_answer(h("6EF190"), 0xF190)
        communication.read_answer(h("6803"), 3)
        code_setting.read_answer(h("C502"), 2)
        access.read_accepted(h("6702"), 1)

    def test_data(self) -> None:
        assert read_data.read_answer(h("62F1903132"), 0xF190) == b"12"
        lengths = [(0x0100, 1), (0x0200, 2), (0x0300, 1)]
        assert read_data.split_answer(h("62 0100 AA 0200 BBCC 0300 DD"), lengths) == {
            0x0100: h("AA"),
            0x0200: h("BBCC"),
            0x0300: h("DD"),
        }
        assert read_data.split_answer(h("62 0300 DD"), lengths) == {0x0300: h("DD")}
        assert read_data.make_request(0x0100, 0x0200) == h("2201000200")

    @pytest.mark.parametrize("reply", ["62", "6201", "620400AA", "620200000100", "620200BB", "6201AA"])
    def test_malformed_data(self, reply: str) -> None:
        with pytest.raises(AnswerMalformed):
            read_data.split_answer(h(reply), [(0x0100, 1), (0x0200, 2)])

    def test_data_out_of_order(self) -> None:
        with pytest.raises(AnswerMalformed):
            read_data.split_answer(h("62 0200 BBCC 0100 AA"), [(0x0100, 1), (0x0200, 2)])

    def test_access(self) -> None:
        assert access.read_seed(h("67010000"), 1) == h("0000")
        assert access.is_open(h("0000"))
        assert not access.is_open(h("0001"))
        assert access.key_request(1, h("AABB")) == h("2702AABB")

    def test_output_and_routine(self) -> None:
        assert control_output.make_request(0x1234, control_output.ADJUST, h("40")) == h("2F12340340")
        assert control_output.read_answer(h("6F12340341"), 0x1234, 3) == h("41")
        assert routine.make_request(RoutineAction.RESULT, 0x0203) == h("31030203")
        assert routine.read_answer(h("7103020300"), RoutineAction.RESULT, 0x0203) == h("00")

    @pytest.mark.parametrize(
        "read",
        [
            lambda: session.read_answer(h("5001003201F4"), 3),
            lambda: session.read_answer(h("5003"), 3),
            lambda: session.read_answer(h("5003003201F400"), 3),
            lambda: restart.read_answer(h("5102"), 1),
            lambda: restart.read_answer(h("510100"), 1),
            lambda: restart.read_answer(h("5104"), 4),
            lambda: clear_codes.read_answer(h("5400")),
            lambda: keep_alive.read_answer(h("7E")),
            lambda: write_data.read_answer(h("6EF191"), 0xF190),
            lambda: read_data.read_answer(h("62F190"), 0xF190),
            lambda: access.read_seed(h("6701"), 1),
            lambda: access.read_accepted(h("6701"), 1),
            lambda: routine.read_answer(h("71010204"), RoutineAction.START, 0x0203),
            lambda: routine.read_answer(h("71020203"), RoutineAction.START, 0x0203),
            lambda: control_output.read_answer(h("6F123400"), 0x1234, 3),
            lambda: communication.read_answer(h("6800"), 3),
            lambda: code_setting.read_answer(h("C501"), 2),
        ],
    )
    def test_malformed(self, read: Callable[[], object]) -> None:
        """Another session, another identifier, too short, too long: never taken for a yes."""
        with pytest.raises(AnswerMalformed):
            read()


class TestCodes:
    def test_count(self) -> None:
        count = read_codes.read_count(h("5901FF010003"))
        assert (count.available, count.format, count.count) == (0xFF, 1, 3)
        assert read_codes.count_request(0x08) == h("190108")

    def test_list(self) -> None:
        assert read_codes.read_list(h("5902")).codes == ()
        assert read_codes.read_list(h("5902FF")).codes == ()
        found = read_codes.read_list(h("590AFF21765409"), 0x0A)
        assert found.codes == (StatusCode("P2176", 0x54, 0x09),)
        assert read_codes.supported_request() == h("190A")

    @pytest.mark.parametrize("reply", ["59", "590A", "5902FF04", "5902FF0420002F00"])
    def test_malformed_list(self, reply: str) -> None:
        with pytest.raises(AnswerMalformed):
            read_codes.read_list(h(reply))

    def test_snapshots(self) -> None:
        reply = h("5904 217654 09  01 02 F400 7B F40C 0BB8  02 01 F400 28")
        code, records = read_codes.read_snapshots(reply, {0xF400: 1, 0xF40C: 2})
        assert code == StatusCode("P2176", 0x54, 0x09)
        assert records == (Snapshot(1, {0xF400: h("7B"), 0xF40C: h("0BB8")}), Snapshot(2, {0xF400: h("28")}))

    def test_snapshot_with_an_unknown_identifier_keeps_the_bytes(self) -> None:
        _, records = read_codes.read_snapshots(h("5904 217654 09  01 02 F400 7B 1234 AABB"), {0xF400: 1})
        assert records == (Snapshot(1, {0xF400: h("7B")}, h("1234AABB")),)

    @pytest.mark.parametrize("tail", ["01", "0101", "0101F4", "0101F400", "0102F4007B"])
    def test_snapshot_cut_short(self, tail: str) -> None:
        with pytest.raises(AnswerMalformed):
            read_codes.read_snapshots(h("590421765409" + tail), {0xF400: 1})

    def test_extended(self) -> None:
        code, records = read_codes.read_extended(h("5906 217654 09 01 05 02 0A0B"), {1: 1})
        assert code.code == "P2176"
        assert records == {1: h("05"), 2: h("0A0B")}
        assert read_codes.extended_request("P2176", 0x54) == h("1906217654FF")
        with pytest.raises(AnswerMalformed):
            read_codes.read_extended(h("5906 217654 09 01"), {1: 1})


@pytest.mark.parametrize(
    "make",
    [
        lambda: session.make_request(0x100),
        lambda: restart.make_request(-1),
        lambda: clear_codes.make_request(0x1000000),
        read_data.make_request,
        lambda: read_data.make_request(0x10000),
        lambda: write_data.make_request(0xF190, b""),
        lambda: access.seed_request(2),
        lambda: access.seed_request(0x7F),
        lambda: access.key_request(1, b""),
        lambda: read_codes.list_request(0x100),
        lambda: read_codes.snapshot_request("X0001", 0),
        lambda: routine.make_request(RoutineAction.START, 0x10000),
        lambda: control_output.make_request(0x10000, 0),
    ],
)
def test_impossible_requests(make: Callable[[], object]) -> None:
    with pytest.raises(InputError):
        make()
