"""What a request does, from its bytes alone; what is not known counts as a write."""

from __future__ import annotations

import pytest

from asleft.codec.effects import effect_of
from asleft.codec.refusal import Protocol
from asleft.model.effect import Effect


def h(text: str) -> bytes:
    return bytes.fromhex(text)


@pytest.mark.parametrize(
    ("request_", "effect"),
    [
        # OBD
        ("010C", Effect.READS), ("020500", Effect.READS), ("03", Effect.READS), ("07", Effect.READS),
        ("0A", Effect.READS), ("0601", Effect.READS), ("0902", Effect.READS), ("04", Effect.CLEARS),
        ("080100", Effect.ACTUATES),
        # UDS
        ("22F190", Effect.READS), ("1902FF", Effect.READS), ("190404200002", Effect.READS), ("23140000", Effect.READS),
        ("24F190", Effect.READS), ("3E00", Effect.SESSION), ("3E80", Effect.SESSION), ("1001", Effect.SESSION),
        ("1003", Effect.SESSION), ("1083", Effect.SESSION), ("1002", Effect.WRITES), ("1082", Effect.WRITES),
        ("1004", Effect.WRITES), ("1060", Effect.WRITES), ("10", Effect.WRITES), ("100300", Effect.WRITES),
        ("1101", Effect.RESTARTS), ("1103", Effect.RESTARTS), ("14FFFFFF", Effect.CLEARS), ("2701", Effect.ACCESS),
        ("2702AABB", Effect.ACCESS), ("2901", Effect.ACCESS), ("280301", Effect.ACTUATES), ("8502", Effect.ACTUATES),
        ("2EF19031", Effect.WRITES), ("3D14", Effect.WRITES), ("2C01", Effect.WRITES), ("2F123403FF", Effect.ACTUATES),
        ("2F123400", Effect.ACTUATES), ("31010203", Effect.ACTUATES), ("31020203", Effect.ACTUATES),
        ("31030203", Effect.READS), ("3101FF00", Effect.WRITES), ("3103", Effect.ACTUATES), ("310302", Effect.ACTUATES),
        ("31830203", Effect.ACTUATES), ("34004433", Effect.WRITES), ("35004433", Effect.WRITES),
        ("3601", Effect.WRITES), ("37", Effect.WRITES), ("38", Effect.WRITES), ("84", Effect.WRITES),
        ("86", Effect.WRITES), ("87", Effect.WRITES),
        # KWP2000
        ("1A9B", Effect.READS), ("2101", Effect.READS), ("1802FF00", Effect.READS), ("170420", Effect.READS),
        ("13FF00", Effect.READS), ("1200", Effect.READS), ("3301", Effect.READS), ("3201", Effect.ACTUATES),
        ("3B01FF", Effect.WRITES), ("1081", Effect.SESSION), ("1085", Effect.WRITES), ("1089", Effect.WRITES),
        ("20", Effect.SESSION), ("81", Effect.SESSION), ("82", Effect.SESSION), ("300101", Effect.READS),
        ("30010100", Effect.ACTUATES), ("300107", Effect.ACTUATES), ("30010764", Effect.ACTUATES),
        ("30010864", Effect.WRITES), ("3001", Effect.ACTUATES), ("3E01", Effect.SESSION),
        ("", Effect.WRITES),
    ],
)  # fmt: skip
def test_effects(request_: str, effect: Effect) -> None:
    assert effect_of(h(request_)) is effect


@pytest.mark.parametrize("request_", ["3103", "310301", "31030203", "3101FF00", "3142"])
def test_routines_of_kwp2000_always_act(request_: str) -> None:
    """31 03 reads a result in UDS, and starts local routine 03 in KWP2000."""
    assert effect_of(h(request_), Protocol.KWP2000) is Effect.ACTUATES


@pytest.mark.parametrize(
    ("request_", "effect"),
    [("1081", Effect.SESSION), ("1083", Effect.WRITES), ("1001", Effect.WRITES), ("10C0", Effect.WRITES)],
)
def test_sessions_of_kwp2000(request_: str, effect: Effect) -> None:
    assert effect_of(h(request_), Protocol.KWP2000) is effect


KNOWN_HARMLESS = {
    0x01, 0x02, 0x03, 0x05, 0x06, 0x07, 0x09, 0x0A, 0x10, 0x12, 0x13, 0x17, 0x18, 0x19, 0x1A, 0x20, 0x21, 0x22,
    0x23, 0x24, 0x2A, 0x30, 0x31, 0x33, 0x3E, 0x81, 0x82, 0x83,
}  # fmt: skip


@pytest.mark.parametrize("protocol", list(Protocol))
@pytest.mark.parametrize("tail", ["", "01", "0102", "03", "81", "01020304"])
def test_everything_else_needs_a_receipt(tail: str, protocol: Protocol) -> None:
    for service in set(range(256)) - KNOWN_HARMLESS:
        assert effect_of(bytes((service,)) + h(tail), protocol).needs_receipt, f"{service:02X}"
