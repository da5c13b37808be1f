"""The forty-eight modules of the estate by name, with part letters and numbers; all invented."""

from __future__ import annotations

from dataclasses import dataclass

from ..address import Address


@dataclass(frozen=True)
class Row:
    """One module: name, part letters and number, first two bytes of its own codes, bytes and identifier of coding."""

    name: str
    letters: str
    number: int
    code: int
    coding: int
    coding_did: int


_NAMES = (
    "gateway", "engine", "transmission", "stability", "steering assist", "steering angle", "suspension", "camera",
    "parking brake", "brake booster", "body front", "body rear", "cluster", "restraints", "occupant sensing",
    "tyre pressure", "front radar", "corner radar left", "corner radar right", "park assist", "surround view",
    "headlamp left", "headlamp right", "headlamp levelling", "climate front", "climate rear", "battery monitor",
    "alternator", "fuel pump", "cooling fan", "transfer clutch", "rear axle", "door driver", "door passenger",
    "door rear left", "door rear right", "tailgate", "roof", "seat driver", "seat passenger", "steering column",
    "switch panel", "radio", "display", "telematics", "amplifier", "key access", "rain and light",
)  # fmt: skip

#: Modules of the running gear have C codes, the others B codes; in the maker's range, invented.
_RUNNING_GEAR = frozenset(_NAMES[3:10]) | {"tyre pressure", "transfer clutch", "rear axle"}


def _row(index: int, name: str) -> Row:
    letters = "B" + "".join(word[0] for word in name.upper().split())[:2] + name.upper()[-1]
    code = (0x5000 if name in _RUNNING_GEAR else 0x9000) + 0x40 * index
    return Row(name, letters, 2000 + 37 * index, code, 1 + index % 6, 0x3C10 + 0x13 * index)


ROWS: dict[str, Row] = {name: _row(index, name) for index, name in enumerate(_NAMES)}


def address(name: str) -> Address:
    """Where a module hears: engine and gearbox as the law asks, all others with 29-bit identifiers.

    Raises: KeyError: no such module.
    """
    if name == "engine":
        return Address.normal(0x7E0, 0x7E8)
    if name == "transmission":
        return Address.normal(0x7E1, 0x7E9)
    return Address.fixed(0x20 + list(ROWS).index(name))
