"""DoIP bytes against the check values, section 3 (from the tests of an independent client, MIT)."""

from __future__ import annotations

import pytest

from asleft.codec import doip
from asleft.codec.doip import DoipMessage
from asleft.codec.doip.words import ACTIVATION, DIAGNOSTIC_NACK, GENERIC_NACK, word_for

VECTORS: list[tuple[str, DoipMessage]] = [
    ("02FD0005000000070E000000000000", doip.ActivationRequest(0x0E00)),
    ("02FD0006000000090E0000011000000000", doip.ActivationAnswer(0x0E00, 0x0001, 0x10)),
    ("02FD0006000000090E0000010000000000", doip.ActivationAnswer(0x0E00, 0x0001, 0x00)),
    ("02FD00000000000104", doip.GenericNack(4)),
    ("02FD000700000000", doip.AliveRequest()),
    ("02FD0008000000020E00", doip.AliveAnswer(0x0E00)),
    ("02FD80010000000800010E0000010203", doip.Diagnostic(0x0001, 0x0E00, bytes(range(4)))),
    ("02FD80020000000500010E0000", doip.DiagnosticAck(0x0001, 0x0E00, 0)),
    ("02FD80030000000500010E0005", doip.DiagnosticNack(0x0001, 0x0E00, 5)),
    ("02FD000100000000", doip.VehicleRequest()),
    ("02FD000300000011" + b"1M8GDM9AXKP042788".hex(), doip.VehicleRequest(vin="1M8GDM9AXKP042788")),
    ("02FD400100000000", doip.EntityRequest()),
    ("02FD400300000000", doip.PowerRequest()),
    ("02FD40040000000101", doip.PowerAnswer(1)),
]


@pytest.mark.parametrize(("data", "message"), VECTORS)
def test_both_ways(data: str, message: DoipMessage) -> None:
    assert doip.encode(message) == bytes.fromhex(data)
    assert doip.decode(bytes.fromhex(data)) == message


def test_activation() -> None:
    assert doip.ActivationAnswer(0, 0, 0x10).active
    assert not doip.ActivationAnswer(0, 0, 0x00).active


def test_words() -> None:
    assert word_for(ACTIVATION, 0x10) == "active"
    assert word_for(GENERIC_NACK, 4) == "payload length wrong"
    assert word_for(DIAGNOSTIC_NACK, 5) == "out of memory"
    assert word_for(DIAGNOSTIC_NACK, 0x99) == "code 99"
