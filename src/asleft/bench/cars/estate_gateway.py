"""The estate's gateway module: its list of fitted modules, who is heard, and what follows from a wrong list.

A module that is not in the list is not reached from the plug; one that is in it and silent gives a code and keeps the
car from going to sleep. Identifiers are inventions.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable

from ..identifiers import cell, coding, live
from ..memory import Memory
from ..module import ControlModule
from ..trouble_memory import TroubleCode
from .estate_build import Workbench
from .estate_table import ROWS
from .petrol_side import checksum

FITTED, HEARD = 0x2D07, 0x2D08
_NAMES = tuple(ROWS)
_BYTES = (len(_NAMES) + 7) // 8
#: What the car draws asleep, and more when a listed module is missing, A.
AWAKE_A = 0.32


def bits_of(names: Iterable[str]) -> bytes:
    """The list as bits: module of row n is bit n, counted from the lowest of the first byte."""
    bits = sum(1 << _NAMES.index(name) for name in names)
    return bits.to_bytes(_BYTES, "little")


def names_of(bits: bytes) -> set[str]:
    """The modules of a list."""
    number = int.from_bytes(bits[:_BYTES], "little")
    return {name for index, name in enumerate(_NAMES) if number >> index & 1}


class FittedList:
    """What the gateway believes is fitted, and what is.

    Attributes: unplugged: modules that are not there. Their place in the list is somebody's business.
    """

    CHANGES = ("unplugged",)

    def __init__(self, memory: Memory, lacking: Iterable[str] = ()) -> None:
        self.unplugged: list[str] = sorted(lacking)
        self._memory = memory
        self._held: object = None
        self._names: set[str] = set()

    @property
    def listed(self) -> set[str]:
        """The modules in the list."""
        held = self._memory[cell(FITTED)]
        if held is not self._held:
            self._held, self._names = held, names_of(bytes(held))
        return self._names

    @property
    def silent(self) -> set[str]:
        """Listed and not there."""
        return self.listed & set(self.unplugged)

    @property
    def strangers(self) -> set[str]:
        """There and not listed."""
        return set(_NAMES) - set(self.unplugged) - self.listed


def gateway_module(
    bench: Workbench, fitted: FittedList, memory: Memory, changed: Callable[[bytes], None]
) -> ControlModule:
    """The module. ``changed`` is called after the list was written."""
    present = [name for name in _NAMES if name not in fitted.unplugged]
    guard = bench.guard()
    rule = type(guard)(guard.sessions, guard.level, guard.conditions, guard.check, changed, guard.takes_s)

    def heard() -> bytes:
        return bits_of(name for name in _NAMES if name not in fitted.unplugged)

    def missing() -> bool | None:
        return bool(fitted.silent) if bench.side.key_on() else None

    def strange() -> bool | None:
        return bool(fitted.strangers) if bench.side.key_on() else None

    return bench.module(
        "gateway",
        memory=memory,
        identifiers=[
            coding(
                FITTED, "fitted modules, one bit each in the order of the table; checksum", bits_of(present),
                checksum=checksum, write=rule,
            ),
            live(HEARD, "modules heard since key on, bits as in the list", heard),
        ],
        codes=[
            TroubleCode(0xD10087, "a listed module is not heard", missing, fail_s=2.0, lamp=True),
            TroubleCode(0xD10055, "a module is heard that is not listed", strange, fail_s=2.0),
        ],
    )  # fmt: skip
