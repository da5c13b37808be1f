"""Control modules and the three pictures of them."""

from __future__ import annotations

from enum import StrEnum, unique

import msgspec

from .reading import Absence, Hex, Reading
from .trouble import TroubleCode


@unique
class ModuleState(StrEnum):
    """What a module does while a procedure runs, in four words of our own."""

    WAITING = "waiting"
    MOVING = "moving"
    STORED = "stored"
    REFUSED = "refused"


class ModuleAddress(msgspec.Struct, frozen=True):
    """Where a module listens and answers on CAN.

    Attributes:
        name: words for messages.
        request_id, response_id: identifiers of frames to it and from it.
        extended: 29-bit identifiers.
        request_prefix, response_prefix: address byte in front of the data of frames to it and from it, 0 to 255, where
            several modules share identifiers (extended and mixed addressing of ISO 15765-2). Not written down where
            there is none, so that stored bytes of such an address stay what they were.
    """

    name: str
    request_id: int
    response_id: int
    extended: bool = False
    request_prefix: int | msgspec.UnsetType = msgspec.UNSET
    response_prefix: int | msgspec.UnsetType = msgspec.UNSET

    @property
    def text(self) -> str:
        """``engine 7E0/7E8``, with an address byte ``body 6F1:40/640:F1``."""
        return f"{self.name} {self.at}"

    @property
    def at(self) -> str:
        """The text without the name: which module it is, whatever it is called."""
        return f"{_end(self.request_id, self.request_prefix)}/{_end(self.response_id, self.response_prefix)}"

    @property
    def place(self) -> tuple[int, int, bool, int, int]:
        """The same as a key; -1 for no address byte."""
        return (
            self.request_id,
            self.response_id,
            self.extended,
            -1 if isinstance(self.request_prefix, msgspec.UnsetType) else self.request_prefix,
            -1 if isinstance(self.response_prefix, msgspec.UnsetType) else self.response_prefix,
        )


def _end(identifier: int, prefix: int | msgspec.UnsetType) -> str:
    return f"{identifier:03X}" if isinstance(prefix, msgspec.UnsetType) else f"{identifier:03X}:{prefix:02X}"


class Item(msgspec.Struct, frozen=True):
    """One thing read from a module: bytes and words, or why it is missing.

    Attributes:
        key: stable name, such as ``part-number``, ``software-number``, ``serial-number``,
            ``coding``, ``calibration-id``.
        name: words for a screen.
        value: the value in words or digits.
        raw: its bytes.
        unit: unit where it is a quantity, else empty.
        absence: reason when not there.
    """

    key: str
    name: str
    value: str = ""
    raw: Hex = ""
    unit: str = ""
    absence: Absence | None = None


class ModulePicture(msgspec.Struct, frozen=True):
    """What one module said of itself at one time."""

    address: ModuleAddress
    responded: bool
    identification: tuple[Item, ...] = ()
    coding: tuple[Item, ...] = ()
    learned: tuple[Item, ...] = ()
    codes: tuple[TroubleCode, ...] = ()
    codes_absence: Absence | None = None

    def value(self, key: str) -> str:
        """Value of an identification item, or the empty text."""
        return next((i.value for i in self.identification if i.key == key and i.absence is None), "")


@unique
class PictureKind(StrEnum):
    """The three pictures of a car."""

    AS_RECEIVED = "as-received"
    AS_FOUND = "as-found"
    AS_LEFT = "as-left"


class Picture(msgspec.Struct, frozen=True):
    """State of all modules at one of the three times.

    Attributes:
        kind: which of the three.
        start_s, stop_s: on the job's clock, s.
        modules: those that answered and those that did not.
        readings: standard OBD data at the time (supply, temperatures, readiness and so on).
        notes: readiness, what was declared, what could not be had.
        not_taken: reason; then the rest is empty.
    """

    kind: PictureKind
    start_s: float
    stop_s: float
    modules: tuple[ModulePicture, ...] = ()
    readings: tuple[Reading, ...] = ()
    notes: tuple[Item, ...] = ()
    not_taken: str = ""

    def module(self, name: str) -> ModulePicture | None:
        """The module with this name, if it is in the picture."""
        return next((m for m in self.modules if m.address.name == name), None)

    @property
    def codes(self) -> tuple[TroubleCode, ...]:
        """All codes of all modules."""
        return tuple(c for m in self.modules for c in m.codes)


class Difference(msgspec.Struct, frozen=True):
    """One thing that differs between two pictures."""

    module: str
    key: str
    name: str
    before: str
    after: str
    intended: bool | None = None


def differences(before: Picture, after: Picture) -> tuple[Difference, ...]:
    """What differs between two pictures, module by module, key by key, codes included."""
    found: list[Difference] = []
    for name in dict.fromkeys(m.address.name for m in (*before.modules, *after.modules)):
        a, b = before.module(name), after.module(name)
        left, right = _facts(a), _facts(b)
        for key in dict.fromkeys((*left, *right)):
            old, new = left.get(key, ("", "absent")), right.get(key, ("", "absent"))
            if old[1] != new[1]:
                found.append(Difference(name, key, (old[0] or new[0]), old[1], new[1]))
    return tuple(found)


def _facts(module: ModulePicture | None) -> dict[str, tuple[str, str]]:
    if module is None:
        return {}
    facts = {"answer": ("answer", "answered" if module.responded else "silent")}
    for item in (*module.identification, *module.coding, *module.learned):
        facts[item.key] = (item.name, item.absence.kind.value if item.absence else f"{item.value} {item.unit}".strip())
    for code in module.codes:
        facts[f"code:{code.kind.value}:{code.full}"] = (f"{code.full} {code.text}".strip(), "present")
    return facts
