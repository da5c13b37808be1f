"""UDS beside udsoncan 1.26 (MIT): its services make the same requests and read the same answers."""

from __future__ import annotations

import pytest
from udsoncan import CommunicationType, DidCodec, Dtc, Response, services
from udsoncan.ResponseCode import ResponseCode

from asleft.codec.refusal import UDS_REFUSALS
from asleft.codec.reply import Negative, Pending, Positive, read_reply
from asleft.codec.trouble_code import Status, text_of
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
from asleft.codec.uds.routine import RoutineAction


class Raw(DidCodec):
    """A udsoncan codec that leaves bytes as they are."""

    def __init__(self, length: int) -> None:
        self.length = length

    def encode(self, value: bytes) -> bytes:
        return value

    def decode(self, payload: bytes) -> bytes:
        return payload

    def __len__(self) -> int:
        return self.length


def h(text: str) -> bytes:
    return bytes.fromhex(text)


S = services
REQUESTS = {
    "session": (session.make_request(3), lambda: S.DiagnosticSessionControl.make_request(3)),
    "restart": (restart.make_request(1), lambda: S.ECUReset.make_request(1)),
    "clear": (clear_codes.make_request(), lambda: S.ClearDiagnosticInformation.make_request(0xFFFFFF)),
    "clear group": (clear_codes.make_request(0x123456), lambda: S.ClearDiagnosticInformation.make_request(0x123456)),
    "count": (read_codes.count_request(8), lambda: S.ReadDTCInformation.make_request(1, status_mask=8)),
    "list": (read_codes.list_request(0xAF), lambda: S.ReadDTCInformation.make_request(2, status_mask=0xAF)),
    "supported": (read_codes.supported_request(), lambda: S.ReadDTCInformation.make_request(0x0A)),
    "snapshot": (
        read_codes.snapshot_request("P1234", 0x56, 2),
        lambda: S.ReadDTCInformation.make_request(4, dtc=0x123456, snapshot_record_number=2),
    ),
    "extended": (
        read_codes.extended_request("P1234", 0x56, 0xFF),
        lambda: S.ReadDTCInformation.make_request(6, dtc=0x123456, extended_data_record_number=0xFF),
    ),
    "read": (
        read_data.make_request(0xF190, 0x0100),
        lambda: S.ReadDataByIdentifier.make_request([0xF190, 0x0100], {0xF190: Raw(17), 0x0100: Raw(1)}),
    ),
    "write": (
        write_data.make_request(0xF190, b"\x01\x02"),
        lambda: S.WriteDataByIdentifier.make_request(0xF190, b"\x01\x02", {0xF190: Raw(2)}),
    ),
    "seed": (access.seed_request(5), lambda: S.SecurityAccess.make_request(5, S.SecurityAccess.Mode.RequestSeed)),
    "key": (
        access.key_request(5, b"\xaa\xbb"),
        lambda: S.SecurityAccess.make_request(5, S.SecurityAccess.Mode.SendKey, data=b"\xaa\xbb"),
    ),
    "communication": (
        communication.make_request(3, communication.BOTH),
        lambda: S.CommunicationControl.make_request(3, CommunicationType(0, True, True)),
    ),
    "output": (
        control_output.make_request(0x1234, 3, b"\x40"),
        lambda: S.InputOutputControlByIdentifier.make_request(0x1234, 3, values=[b"\x40"], ioconfig={0x1234: Raw(1)}),
    ),
    "routine": (
        routine.make_request(RoutineAction.START, 0x0203, b"\x01"),
        lambda: S.RoutineControl.make_request(0x0203, 1, data=b"\x01"),
    ),
    "keep alive": (keep_alive.make_request(), S.TesterPresent.make_request),
    "code setting": (code_setting.make_request(2), lambda: S.ControlDTCSetting.make_request(2)),
}


@pytest.mark.parametrize("name", REQUESTS)
def test_same_request(name: str) -> None:
    ours, theirs = REQUESTS[name]
    assert ours == theirs().get_payload()


def response(text: str) -> Response:
    return Response.from_payload(h(text))


def test_session_answer() -> None:
    theirs = S.DiagnosticSessionControl.interpret_response(response("500300C801F4")).service_data
    ours = session.read_answer(h("500300C801F4"), 3)
    assert (ours.p2_s, ours.p2_star_s) == (theirs.p2_server_max, theirs.p2_star_server_max)


def test_code_list_answer() -> None:
    text = "5902FF0420002FD1160009812345FF"
    theirs = S.ReadDTCInformation.interpret_response(response(text), 2).service_data.dtcs
    ours = read_codes.read_list(h(text)).codes
    assert [(c.code, c.status) for c in ours] == [(d.id_iso()[:5], d.status.get_byte_as_int()) for d in theirs]
    assert [c.failure_type for c in ours] == [d.id & 0xFF for d in theirs]


def test_count_answer() -> None:
    theirs = S.ReadDTCInformation.interpret_response(response("5901FF010102"), 1).service_data
    ours = read_codes.read_count(h("5901FF010102"))
    assert (ours.count, ours.format, ours.available) == (
        theirs.dtc_count,
        theirs.dtc_format,
        theirs.status_availability.get_byte_as_int(),
    )


def test_snapshot_answer() -> None:
    text = "5904 217654 09 01 02 F400 7B F40C 0BB8 02 01 F400 28"
    config = {0xF400: Raw(1), 0xF40C: Raw(2)}
    theirs = S.ReadDTCInformation.interpret_response(
        response(text), 4, dtc_snapshot_did_size=2, didconfig=config
    ).service_data
    _, ours = read_codes.read_snapshots(h(text), {0xF400: 1, 0xF40C: 2})
    found = [(r.record, did, value) for r in ours for did, value in r.values.items()]
    assert found == [(s.record_number, s.did, s.data) for s in theirs.dtcs[0].snapshots]


def test_extended_answer() -> None:
    text = "5906 217654 09 01 0A0B 02 0C0D"
    theirs = S.ReadDTCInformation.interpret_response(response(text), 6, extended_data_size=2).service_data
    _, ours = read_codes.read_extended(h(text), {1: 2, 2: 2})
    assert ours == {e.record_number: e.raw_data for e in theirs.dtcs[0].extended_data}


def test_data_answer() -> None:
    text = "62 0100 AA 0200 BBCC"
    config = {0x0100: Raw(1), 0x0200: Raw(2)}
    theirs = S.ReadDataByIdentifier.interpret_response(response(text), [0x0100, 0x0200], config).service_data.values
    assert read_data.split_answer(h(text), [(0x0100, 1), (0x0200, 2)]) == dict(theirs)


def test_routine_and_seed_answers() -> None:
    theirs = S.RoutineControl.interpret_response(response("7103020300FF")).service_data
    assert routine.read_answer(h("7103020300FF"), RoutineAction.RESULT, 0x0203) == theirs.routine_status_record
    seed = S.SecurityAccess.interpret_response(response("670501020304"), S.SecurityAccess.Mode.RequestSeed)
    assert access.read_seed(h("670501020304"), 5) == seed.service_data.seed


@pytest.mark.parametrize("text", ["7F2231", "7F2278", "62F19031", "7F22FF"])
def test_kind_of_answer(text: str) -> None:
    theirs = response(text)
    ours = read_reply(h("22F190"), h(text))
    assert isinstance(ours, Positive) == theirs.positive
    if isinstance(ours, Negative):
        assert ours.code == theirs.code
    if isinstance(ours, Pending):
        assert theirs.code == 0x78


def test_refusals_known_to_both() -> None:
    theirs = {
        value for name, value in vars(ResponseCode).items() if isinstance(value, int) and not name.startswith("_")
    } - {0}
    missing = {code for code in theirs if code < 0xF0 and code not in UDS_REFUSALS}
    assert not {code for code in missing if ResponseCode.get_name(code) is not None}


def test_all_trouble_codes() -> None:
    for number in range(0x10000):
        assert Dtc(number << 8).id_iso()[:5] == text_of(number.to_bytes(2, "big"))


@pytest.mark.parametrize("bit", range(8))
def test_status_bits(bit: int) -> None:
    names = {
        "test_failed": Status.TEST_FAILED,
        "test_failed_this_operation_cycle": Status.FAILED_THIS_CYCLE,
        "pending": Status.PENDING,
        "confirmed": Status.CONFIRMED,
        "test_not_completed_since_last_clear": Status.NOT_COMPLETED_SINCE_CLEAR,
        "test_failed_since_last_clear": Status.FAILED_SINCE_CLEAR,
        "test_not_completed_this_operation_cycle": Status.NOT_COMPLETED_THIS_CYCLE,
        "warning_indicator_requested": Status.LAMP_REQUESTED,
    }
    theirs = Dtc.Status()
    theirs.set_byte(1 << bit)
    (name,) = [name for name in names if getattr(theirs, name)]
    assert names[name] == 1 << bit
