"""Recorded DoIP traffic from outside (captures of an independent project, read only for tests) through our splitter."""

from __future__ import annotations

import gzip
import struct
from collections import Counter
from pathlib import Path

import pytest

from asleft.codec import doip

_TCP, _UDP = 6, 17


def packets(path: Path) -> list[tuple[int, tuple[bytes, int, bytes, int], int, bytes]]:
    """Protocol, flow, TCP sequence number and payload of each IPv4 packet in a classic capture file."""
    data = gzip.decompress(path.read_bytes())
    found, at = [], 24
    order = "<" if data[:4] == b"\xd4\xc3\xb2\xa1" else ">"
    while at < len(data):
        length = struct.unpack(order + "I", data[at + 8 : at + 12])[0]
        frame, at = data[at + 16 : at + 16 + length], at + 16 + length
        if frame[12:14] != b"\x08\x00":
            continue
        ip = frame[14 : 14 + int.from_bytes(frame[16:18], "big")]
        body = ip[(ip[0] & 0x0F) * 4 :]
        flow = (ip[12:16], int.from_bytes(body[:2], "big"), ip[16:20], int.from_bytes(body[2:4], "big"))
        if ip[9] == _TCP:
            found.append((_TCP, flow, int.from_bytes(body[4:8], "big"), body[(body[12] >> 4) * 4 :]))
        elif ip[9] == _UDP:
            found.append((_UDP, flow, 0, body[8:]))
    return found


@pytest.mark.parametrize("name", ["doip.pcap.gz", "doip_functional_request.pcap.gz"])
def test_recorded_traffic(checks: Path, name: str) -> None:
    """Every byte is understood, comes back as the same bytes, requests and answers alike."""
    splitters: dict[object, doip.DoipSplitter] = {}
    seen: set[tuple[object, int]] = set()
    kinds: Counter[str] = Counter()
    for protocol, flow, sequence, payload in packets(checks / "captures" / name):
        if 13400 not in (flow[1], flow[3]) or not payload or (protocol == _TCP and (flow, sequence) in seen):
            continue
        seen.add((flow, sequence))
        if protocol == _UDP:
            items: list[object] = [doip.decode(payload)]
        else:
            items = list(splitters.setdefault(flow, doip.DoipSplitter()).feed(payload))
            assert b"".join(doip.encode(item, payload[0]) for item in items) == payload  # type: ignore[arg-type]
        kinds.update(type(item).__name__ for item in items)
    assert "DoipBroken" not in kinds
    # one datagram of the first capture is a diagnostic message without any payload: shown, not taken
    assert kinds["UnknownPayload"] == (1 if name == "doip.pcap.gz" else 0)
    assert kinds["ActivationRequest"] >= kinds["ActivationAnswer"] >= 1
    assert kinds["DiagnosticAck"] >= 1
