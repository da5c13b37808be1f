"""ISO-TP frames against the check values, section 3 (can-isotp 2.0.7 and scapy gave these bytes; recomputed there)."""

from __future__ import annotations

from asleft.codec import isotp
from asleft.codec.isotp import IsoTpConfig, IsoTpSession, Received
from asleft.model.frame import CanFrame

VIN_REPLY = b"\x62\xf1\x901M8GDM9AXKP042788"


def transfer(payload: bytes, **settings: object) -> tuple[list[str], list[str], bytes]:
    """Send between two of our sessions: frames out, flow controls back, payload that arrived."""
    config = IsoTpConfig(**{"padding": None, "max_length": 10_000, **settings})  # type: ignore[arg-type]
    address = isotp.normal(0x7E0, 0x7E8)
    one, two = IsoTpSession(address, config), IsoTpSession(isotp.as_module(address), config)
    one.send(payload, 0.0)
    there: list[CanFrame] = []
    back: list[CanFrame] = []
    while frames := one.frames_to_send():
        there += frames
        for frame in frames:
            two.feed(frame, 0.0)
        for frame in two.frames_to_send():
            back.append(frame)
            one.feed(frame, 0.0)
    (received,) = [event.payload for event in two.events() if isinstance(event, Received)]
    return [f.data.hex().upper() for f in there], [f.data.hex().upper() for f in back], received


def test_short_messages() -> None:
    assert transfer(bytes.fromhex("22F190"))[0] == ["0322F190"]
    assert transfer(bytes(range(1, 8)))[0] == ["0701020304050607"]


def test_eight_bytes() -> None:
    assert transfer(bytes(range(1, 9)))[:2] == (["1008010203040506", "210708"], ["300000"])


def test_vin() -> None:
    there, back, received = transfer(VIN_REPLY)
    assert there == ["101462F190314D38", "2147444D3941584B", "2250303432373838"]
    assert back == ["300000"]
    assert received == VIN_REPLY


def test_150_bytes_in_blocks_of_eight() -> None:
    there, back, _ = transfer(bytes(150), block_size=8)
    assert len(there) == 22
    assert back == ["300800"] * 3
    assert len(there) + len(back) == 25
    numbers = [int(frame[1], 16) for frame in there[1:]]
    assert numbers == [*range(1, 16), 0, 1, 2, 3, 4, 5]


def test_4095_and_4096_bytes() -> None:
    payload = bytes(i & 0xFF for i in range(4095))
    there, _, received = transfer(payload)
    assert (there[0][:4], len(there), there[-1], received) == ("1FFF", 586, "29FE", payload)
    payload = bytes(i & 0xFF for i in range(4096))
    there, _, received = transfer(payload)
    assert (there[0], len(there), there[-1]) == ("1000000010000001", 586, "29FAFBFCFDFEFF")
    assert received == payload


def test_can_fd() -> None:
    data = bytes(range(20))
    assert transfer(data, fd=True, frame_length=64)[0] == ["0014" + data.hex().upper() + "CCCC"]
    data = bytes(range(70))
    there = transfer(data, fd=True, frame_length=64)[0]
    assert there[0] == "1046" + data[:62].hex().upper()
    assert there[1] == "21" + data[62:].hex().upper() + "CCCCCC"


def test_classic_padding() -> None:
    assert transfer(bytes.fromhex("3E00"), padding=0xCC)[0] == ["023E00CCCCCCCCCC"]


def test_normal_fixed_identifiers() -> None:
    address = isotp.normal_fixed(source=0xF1, target=0x10)
    assert f"{address.tx.id:X} {address.rx.id:X}" == "18DA10F1 18DAF110"
