"""Building blocks of the estate's modules: identity, coding, common codes and timing, one call a module."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from struct import pack

from ..identifiers import Identifier, Write, coding
from ..memory import LearnedValue, Memory
from ..module import ControlModule, Timing
from ..obd import Obd
from ..physics.noise import Noise
from ..routines import Routine
from ..security import SecurityLevel
from ..service import Condition, refuse_if
from ..trouble_memory import TroubleCode
from .estate_side import ChassisSide
from .estate_table import ROWS, Row, address
from .identity import draw_identity, identification
from .petrol_others import coding_codes
from .petrol_side import checksum


@dataclass
class Workbench:
    """What every module of the estate is built with.

    Attributes: side: of the chassis. chance: draws identities, coding, timing. vin: of the car.
    """

    side: ChassisSide
    chance: Noise
    vin: str

    def guard(self) -> Write:
        """Rule for coding: extended session, access open, standing, engine off, supply sound."""
        return Write(level=0x01, conditions=(*self.standing(), self.supply(11.5)), takes_s=0.15)

    def standing(self) -> tuple[Condition, ...]:
        """Engine off and car standing."""
        side = self.side
        return (refuse_if(side.running, 0x83), refuse_if(lambda: side.speed_km_h() > 0.5, 0x88))

    def code_of(self, name: str) -> int:
        """First two bytes of the codes that a module has for its own work."""
        return ROWS[name].code + 2

    def supply(self, least_v: float) -> Condition:
        """Supply not below a voltage."""
        return refuse_if(lambda: self.side.volts() < least_v, 0x93)

    def module(
        self,
        name: str,
        *,
        memory: Memory | None = None,
        identifiers: Iterable[Identifier] = (),
        routines: Iterable[Routine] = (),
        codes: Iterable[TroubleCode] = (),
        obd: Obd | None = None,
        without: frozenset[int] = frozenset(),
    ) -> ControlModule:
        """One module with its identity, coding and the codes that all have."""
        row = ROWS[name]
        chance = self.chance
        memory = memory or Memory()
        identity = draw_identity(chance, row.letters, row.number, name.upper())
        body = bytes([1 + chance.whole(0, 200), *(chance.whole(0, 255) for _ in range(row.coding - 1))])
        return ControlModule(
            name,
            address(name),
            memory=memory,
            identifiers=[
                *identification(identity, self.vin),
                coding(row.coding_did, "coding; checksum", body, checksum=checksum, write=self.guard()),
                *identifiers,
            ],
            routines=routines,
            codes=[*codes, *self._common_codes(row, memory)],
            security=[SecurityLevel(level=1)],
            timing=Timing(
                latency_s=chance.between(0.002, 0.022),
                jitter_s=chance.between(0.0, 0.008),
                boot_s=chance.between(0.1, 0.7),
                stmin=chance.whole(0, 3),
                block_size=chance.whole(0, 2) * 8,
            ),
            obd=obd,
            without=without,
        )

    def _common_codes(self, row: Row, memory: Memory) -> list[TroubleCode]:
        def low() -> bool | None:
            return self.side.volts() < 9.5 if self.side.key_on() else None

        return [
            TroubleCode(row.code << 8 | 0x16, "supply voltage low", low, fail_s=2.0),
            *coding_codes(row.code + 1, memory, row.coding_did),
        ]


def signed(read: Callable[[], float], step: float) -> Callable[[], bytes]:
    """A value as signed 16 bits in steps, held at the ends."""
    return lambda: pack(">h", max(-32768, min(32767, round(read() / step))))


def learned_bytes(value: LearnedValue, step: float) -> Callable[[], bytes]:
    """A learned value, its lowest and highest, signed 16 bits in steps, and whether it was learned."""

    def read() -> bytes:
        return pack(">hhhB", *(round(part / step) for part in (value.value, value.low, value.high)), value.learned)

    return read
