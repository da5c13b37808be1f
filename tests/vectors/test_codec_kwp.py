"""Frames of the K-line against the check values, section 3: public traces, checksums recomputed there."""

from __future__ import annotations

import pytest

from asleft.codec.kwp import header, session
from asleft.codec.kwp.header import KwpBroken, KwpFrame


def h(text: str) -> bytes:
    return bytes.fromhex(text)


@pytest.mark.parametrize(
    ("frame", "payload", "target", "source", "functional"),
    [
        ("C133F18166", "81", 0x33, 0xF1, True),
        ("C233F1010CF3", "010C", 0x33, 0xF1, True),
        ("C233F10105EC", "0105", 0x33, 0xF1, True),
        ("83F111C18FEFC4", "C18FEF", 0xF1, 0x11, False),
        ("83F110C1E98FBD", "C1E98F", 0xF1, 0x10, False),
        ("8101F181F4", "81", 0x01, 0xF1, False),
        ("C129F1815C", "81", 0x29, 0xF1, True),
        ("83F11141057B46", "41057B", 0xF1, 0x11, False),
        ("8110F13EC0", "3E", 0x10, 0xF1, False),
        ("8201F11A9B29", "1A9B", 0x01, 0xF1, False),
    ],
)
def test_frames_both_ways(frame: str, payload: str, target: int, source: int, functional: bool) -> None:
    assert header.make_frame(h(payload), target, source, functional=functional) == h(frame)
    assert header.read_frame(h(frame)) == KwpFrame(h(payload), target, source, functional)


def test_without_address() -> None:
    assert header.make_frame_without_address(h("81")) == h("018182")
    assert header.read_frame(h("018182")) == KwpFrame(h("81"))


def test_length_byte_for_long_payloads() -> None:
    frame = header.make_frame(bytes(70), 0x10, 0xF1)
    assert frame[:4] == h("8010F146")
    assert header.read_frame(frame).payload == bytes(70)


def test_a_printed_frame_with_a_wrong_checksum_is_refused() -> None:
    """One public source prints 69 where 29 is right."""
    with pytest.raises(KwpBroken):
        header.read_frame(h("8201F11A9B69"))


def test_iso_9141() -> None:
    assert header.make_obd_9141(h("0100")) == h("686AF10100C4")
    assert header.make_obd_9141(h("0902")) == h("686AF10902CE")
    assert header.read_obd_9141(h("486B1041057B84")) == (0x10, h("41057B"))
    assert header.read_obd_9141(h("486B114100BE3EB811CA")) == (0x11, h("4100BE3EB811"))


def test_key_bytes() -> None:
    assert session.read_started(header.read_frame(h("83F111C18FEFC4")).payload) == h("8FEF")
