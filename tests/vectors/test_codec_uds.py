"""UDS, refusals and trouble codes against the check values, section 3."""

from __future__ import annotations

import csv
import re
from pathlib import Path

import pytest

from asleft.codec.refusal import KWP_REFUSALS, UDS_REFUSALS, Protocol, refusal_of
from asleft.codec.reply import Pending, read_reply
from asleft.codec.trouble_code import Status, join_code, split_code, text_of
from asleft.codec.uds import (
    access,
    clear_codes,
    code_setting,
    communication,
    keep_alive,
    read_codes,
    read_data,
    restart,
    routine,
    session,
    write_data,
)
from asleft.codec.uds.read_codes import StatusCode


def h(text: str) -> bytes:
    return bytes.fromhex(text)


def test_requests() -> None:
    assert session.make_request(session.EXTENDED) == h("1003")
    assert restart.make_request(restart.HARD) == h("1101")
    assert keep_alive.make_request() == h("3E00")
    assert keep_alive.make_request(quiet=True) == h("3E80")
    assert read_data.make_request(0xF190) == h("22F190")
    assert write_data.make_request(0xF190, b"\x01\x02") == h("2EF1900102")
    assert routine.make_request(routine.RoutineAction.START, 0x0203, b"\x01") == h("3101020301")
    assert access.seed_request(1) == h("2701")
    assert clear_codes.make_request() == h("14FFFFFF")
    assert code_setting.make_request(code_setting.OFF) == h("8502")
    assert read_codes.list_request(0xAF) == h("1902AF")
    assert read_codes.snapshot_request("P1234", 0x56, 2) == h("190412345602")
    assert communication.make_request(communication.DISABLE, communication.BOTH) == h("280303")


def test_session_times() -> None:
    answer = session.read_answer(h("5003003201F4"), 3)
    assert (answer.p2_s, answer.p2_star_s) == (pytest.approx(0.050), pytest.approx(5.0))


def test_refusals() -> None:
    assert refusal_of(h("7F3122")[2]).name == "conditionsNotCorrect"
    assert isinstance(read_reply(h("2701"), h("7F2778")), Pending)


def test_codes_with_status() -> None:
    found = read_codes.read_list(h("5902FF0420002FD1160009"))
    assert found.codes == (StatusCode("P0420", 0, 0x2F), StatusCode("U1116", 0, 0x09))
    status = Status(found.codes[0].status)
    assert status == (
        Status.TEST_FAILED | Status.FAILED_THIS_CYCLE | Status.PENDING | Status.CONFIRMED | Status.FAILED_SINCE_CLEAR
    )
    assert Status(found.codes[1].status) == Status.TEST_FAILED | Status.CONFIRMED


@pytest.mark.parametrize(
    ("data", "text"),
    [("0420", "P0420"), ("4035", "C0035"), ("9234", "B1234"), ("C100", "U0100"), ("D116", "U1116"), ("FFFF", "U3FFF")],
)
def test_code_text(data: str, text: str) -> None:
    assert text_of(h(data)) == text


@pytest.mark.parametrize(("data", "code", "kind"), [("812345", "B0123", 0x45), ("4ABC00", "C0ABC", 0x00)])
def test_code_with_failure_type(data: str, code: str, kind: int) -> None:
    assert split_code(h(data)) == (code, kind)
    assert join_code(code, kind) == h(data)


def _plain(name: str) -> str:
    return re.sub(r"[^a-z]", "", name.lower())


def test_every_refusal_by_name(checks: Path) -> None:
    """Codes and names of ``vectors/nrc.csv``: two independent implementations of UDS, one of KWP2000."""
    with (checks / "vectors" / "nrc.csv").open(encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    assert len(rows) > 70
    uds, kwp = set[int](), set[int]()
    # 39: the first edition's name beside the later one, recalled
    renamed = {"securedmoderequested": "securedatatransmissionnotallowed"}
    for row in rows:
        code = int(row["code"], 16)
        names = {_plain(row["udsoncan_uds"]), _plain(row["scapy_uds"])} - {"", "isosaereserved", "positiveresponse"}
        if names:
            uds.add(code)
            names |= {renamed[name] for name in names if name in renamed}
            assert _plain(refusal_of(code).name) in names, row
        name = _plain(row["scapy_kwp"])
        if name and name != "positiveresponse":
            kwp.add(code)
            assert _plain(refusal_of(code, Protocol.KWP2000).name) == name, row
    assert uds == set(UDS_REFUSALS)
    assert kwp == set(KWP_REFUSALS)


@pytest.mark.parametrize(
    ("code", "family"),
    [
        (0x81, "engine-speed"), (0x82, "engine-speed"), (0x83, "engine-state"), (0x84, "engine-state"),
        (0x85, "run-time"), (0x86, "temperature"), (0x87, "temperature"), (0x88, "vehicle-speed"),
        (0x89, "vehicle-speed"), (0x8A, "pedal"), (0x8B, "pedal"), (0x8C, "selector"), (0x8D, "selector"),
        (0x8F, "brake"), (0x90, "selector"), (0x91, "converter-clutch"), (0x92, "supply"), (0x93, "supply"),
        (0x94, "busy"),
    ],
)  # fmt: skip
def test_entry_condition_family(code: int, family: str) -> None:
    """Section 3 names the family to test; which condition each points to is common practice, no source."""
    assert refusal_of(code).family.value == family
