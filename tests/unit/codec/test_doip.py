"""DoIP: the splitter, lengths that do not fit, announcements."""

from __future__ import annotations

import pytest

from asleft.codec import doip
from asleft.codec.doip import DoipBroken, DoipSplitter, UnknownPayload
from asleft.model.errors import Code

ANNOUNCEMENT = doip.VehicleAnnouncement("1M8GDM9AXKP042788", 0x1000, b"\x01\x02\x03\x04\x05\x06", b"\x00" * 6, 0x10, 0)


def h(text: str) -> bytes:
    return bytes.fromhex(text)


@pytest.mark.parametrize(
    "message",
    [
        ANNOUNCEMENT,
        doip.VehicleAnnouncement("1M8GDM9AXKP042788", 0x1000, bytes(6), bytes(6)),
        doip.VehicleRequest(eid=b"\x01\x02\x03\x04\x05\x06"),
        doip.EntityAnswer(0, 16, 1),
        doip.EntityAnswer(1, 16, 1, 4096),
        doip.ActivationRequest(0x0E80, 1, maker=b"\x01\x02\x03\x04"),
        doip.ActivationAnswer(0x0E80, 0x1000, 0x11, maker=bytes(4)),
        doip.DiagnosticAck(1, 2, 0, b"\x22\xf1\x90"),
    ],
)
def test_both_ways(message: doip.DoipMessage) -> None:
    assert doip.decode(doip.encode(message)) == message


def test_announcement_bytes() -> None:
    """33 bytes: VIN, address, EID, GID, further action, synchronisation."""
    data = doip.encode(ANNOUNCEMENT)
    assert data[:8] == h("02FD000400000021")
    assert data[25:27] == h("1000")
    assert data[27:33] == h("010203040506")


def test_unprintable_vin_is_shown_not_raised() -> None:
    data = doip.encode(ANNOUNCEMENT)
    item = doip.decode(data[:8] + bytes(17) + data[25:])
    assert isinstance(item, doip.VehicleAnnouncement)
    assert item.vin == "." * 17


def test_pieces() -> None:
    whole = doip.encode(ANNOUNCEMENT) + doip.encode(doip.AliveRequest())
    splitter = DoipSplitter()
    assert [item for byte in whole for item in splitter.feed(bytes((byte,)))] == [ANNOUNCEMENT, doip.AliveRequest()]


@pytest.mark.parametrize("data", ["02FC000700000000", "0202000700000000", "FFFF000700000000"])
def test_wrong_header_ends_the_stream(data: str) -> None:
    splitter = DoipSplitter()
    first, broken = splitter.feed(h("02FD000700000000" + data))
    assert first == doip.AliveRequest()
    assert isinstance(broken, DoipBroken)
    assert broken.code is Code.TRANSFER_BROKEN
    assert splitter.broken
    assert splitter.feed(h("02FD000700000000")) == []


def test_too_long_ends_the_stream_before_it_is_stored() -> None:
    splitter = DoipSplitter(longest=100)
    (broken,) = splitter.feed(h("02FD800100000065"))
    assert isinstance(broken, DoipBroken)


def test_unknown_payload_is_passed_on() -> None:
    splitter = DoipSplitter()
    assert splitter.feed(h("02FDF00000000001AA" + "02FD000700000000")) == [
        UnknownPayload(0xF000, b"\xaa"),
        doip.AliveRequest(),
    ]


@pytest.mark.parametrize("data", ["02FD000700000001AA", "02FD0006000000020E00", "02FD80010000000400010E00"])
def test_length_that_does_not_fit_its_type(data: str) -> None:
    item = doip.decode(h(data))
    assert isinstance(item, UnknownPayload)
    assert item.known


@pytest.mark.parametrize("data", ["", "02FD00070000", "02FD000700000001", "02FD00070000000000"])
def test_datagram_broken(data: str) -> None:
    with pytest.raises(DoipBroken):
        doip.decode(h(data))


def test_other_version() -> None:
    assert doip.encode(doip.VehicleRequest(), 0xFF)[:2] == h("FF00")
    assert doip.decode(h("03FC000700000000")) == doip.AliveRequest()
