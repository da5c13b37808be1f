"""Words for the codes in DoIP answers, our own. Source of numbers: ISO 13400-2:2012, tables; recalled."""

from __future__ import annotations

GENERIC_NACK: dict[int, str] = {
    0x00: "header pattern wrong",
    0x01: "payload type unknown",
    0x02: "message too long",
    0x03: "out of memory",
    0x04: "payload length wrong",
}

ACTIVATION: dict[int, str] = {
    0x00: "refused: tester address unknown",
    0x01: "refused: no socket free",
    0x02: "refused: another tester address is active on this connection",
    0x03: "refused: this tester address is active on another connection",
    0x04: "refused: authentication needed",
    0x05: "refused: not confirmed at the car",
    0x06: "refused: kind of activation not supported",
    0x07: "refused: encrypted connection needed",
    0x10: "active",
    0x11: "active once confirmed at the car",
}

DIAGNOSTIC_NACK: dict[int, str] = {
    0x02: "tester address wrong",
    0x03: "module address unknown",
    0x04: "message too long",
    0x05: "out of memory",
    0x06: "module cannot be reached",
    0x07: "network unknown",
    0x08: "transport error on the way to the module",
}


def word_for(table: dict[int, str], code: int) -> str:
    """Word for a code; an unknown one keeps its number."""
    return table.get(code, f"code {code:02X}")
