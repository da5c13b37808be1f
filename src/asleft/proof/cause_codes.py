"""What refusals and trouble codes say as findings."""

from __future__ import annotations

from collections.abc import Sequence

#: Negative response code -> finding. Source: ISO 14229-1, annex A (recalled).
REFUSALS: dict[int, str] = {
    0x21: "busy",
    0x22: "refused-conditions",
    0x31: "refused-range",
    0x33: "refused-access",
    0x34: "refused-access",
    0x35: "refused-access",
    0x83: "refused-running",
    0x84: "refused-running",
    0x86: "refused-temperature",
    0x87: "refused-temperature",
    0x8A: "refused-pedal",
    0x8B: "refused-pedal",
    0x92: "refused-supply",
    0x93: "refused-supply",
}


def refused(code: int) -> dict[str, bool]:
    """What a refusal shows; nothing for one that the table does not hold."""
    return {REFUSALS[code]: True} if code in REFUSALS else {}


#: Beginning of a trouble code -> finding. Source: SAE J2012 ranges (recalled).
_CODES: tuple[tuple[str, str], ...] = (
    ("P030", "code-misfire"),
    ("P0171", "code-lean"),
    ("P0174", "code-lean"),
    ("P0172", "code-rich"),
    ("P0175", "code-rich"),
    ("P2176", "code-not-learned"),
    ("P2119", "code-position"),
    ("P2135", "code-position"),
    ("P2138", "code-position"),
    ("P012", "code-position"),
    ("P022", "code-position"),
    ("P056", "code-supply"),
    ("P0128", "code-warm-up"),
    ("P011", "code-warm-up"),
)


def from_codes(codes: Sequence[str], *, read: bool = True) -> dict[str, bool]:
    """What stored codes show: those found are there, and when all were read the others are not.

    Args: codes: five characters each. read: whether the engine module's codes were read at all.
    """
    if not read:
        return {}
    names = {finding for _, finding in _CODES}
    return {
        finding: any(c.startswith(begin) for c in codes for begin, f in _CODES if f == finding) for finding in names
    }
