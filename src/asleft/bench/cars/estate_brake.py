"""Electric parking brake of the estate: service position, closing with the learn of the contact, what current shows.

Identifiers and routines are inventions of the bench.
"""

from __future__ import annotations

from ..identifiers import live
from ..memory import Kept, LearnedValue, Memory
from ..module import ControlModule
from ..physics.caliper import Caliper
from ..physics.drive import Drive
from ..routines import Routine, RoutineState
from ..service import refuse_if
from ..trouble_memory import TroubleCode
from .estate_build import Workbench

CALIPERS, CONTACTS, OPEN_CALIPERS, CLOSE_CALIPERS = 0x4E31, 0x4E32, 0x5C31, 0x5C32

#: Clamping force of a sound side and of a side that counts as clamped, kN.
SOUND_KN, CLAMPED_KN = 11.0, 6.0
#: Largest difference of the two sides' currents when closing, share.
UNLIKE = 0.2


class ParkingBrake:
    """Both calipers and their module.

    Attributes: service: service position asked for. sides: left, right. contacts: where each learned the disc, mm.
    """

    CHANGES = ("service", "left", "right")

    def __init__(self, seed: int, drive: Drive, memory: Memory) -> None:
        self.left = Caliper(9.4, seed, "caliper left")
        self.right = Caliper(9.2, seed, "caliper right")
        self.service = False
        self._drive = drive
        self.contacts = [
            LearnedValue(memory, f"contact {name}", default=0.0, low=5.0, high=17.5, kept=Kept.LASTING, unit="mm")
            for name in ("left", "right")
        ]

    @property
    def sides(self) -> tuple[Caliper, Caliper]:
        """Left and right."""
        return self.left, self.right

    @property
    def current_a(self) -> float:
        """Both motors now, A."""
        return self.left.current_a + self.right.current_a

    def learn_long_ago(self) -> None:
        """As somebody did right."""
        for contact, side in zip(self.contacts, self.sides, strict=True):
            contact.learn(side.contact_mm)

    def advance(self, t_s: float, volts: float) -> None:
        """Bring both to car time t_s, s, and the car's hold with them."""
        for side in self.sides:
            side.advance(t_s, volts)
        self._drive.park_share = min(1.0, (self.left.force_kn + self.right.force_kn) / (2.0 * SOUND_KN))

    def begin(self, wanted: int) -> None:
        """Both motors on: 1 apply, -1 wind back."""
        for side in self.sides:
            side.begin(wanted)

    def stop(self) -> None:
        """Both motors off."""
        for side in self.sides:
            side.wanted = 0

    def opened(self) -> RoutineState | None:
        """How winding back ends; None: it still moves."""
        if any(side.driven for side in self.sides):
            return None
        self.service = all(side.retracted for side in self.sides)
        return RoutineState.STORED if self.service else RoutineState.REFUSED

    def closed(self) -> RoutineState | None:
        """How closing ends: both clamped, alike, and the contact where it can be; None: it still moves."""
        left, right = self.sides
        if left.driven or right.driven:
            return None
        clamped = min(left.force_kn, right.force_kn) >= CLAMPED_KN
        alike = abs(left.took_s - right.took_s) <= UNLIKE * max(left.took_s, right.took_s)
        if not (clamped and alike):
            return RoutineState.REFUSED
        stored = [contact.learn(side.contact_mm) for contact, side in zip(self.contacts, self.sides, strict=True)]
        self.service = not all(stored)
        return RoutineState.STORED if all(stored) else RoutineState.REFUSED


def parking_brake(bench: Workbench, brake: ParkingBrake, memory: Memory) -> ControlModule:
    """The module."""
    conditions = (*bench.standing(), bench.supply(12.2))

    def shown() -> bytes:
        numbers = [brake.service, *(min(255, round(side.peak_a * 10.0)) for side in brake.sides)]
        numbers += [min(255, round(side.took_s * 10.0)) for side in brake.sides]
        numbers += [min(255, round(side.current_a * 10.0)) for side in brake.sides]
        return bytes(numbers)

    def contacts() -> bytes:
        return bytes(part for value in brake.contacts for part in (value.learned, min(255, round(value.value * 10.0))))

    def unlike() -> bool | None:
        left, right = (side.peak_a for side in brake.sides)
        return abs(left - right) > UNLIKE * max(left, right) if min(left, right) > 0.0 else None

    def routine(rid: int, name: str, wanted: int) -> Routine:
        return Routine(
            rid,
            name,
            start_conditions=conditions,
            keep_conditions=(refuse_if(lambda: bench.side.volts() < 10.5, 0x93),),
            on_start=lambda _option: brake.begin(wanted),
            on_poll=brake.opened if wanted < 0 else brake.closed,
            on_stop=brake.stop,
            takes_s=25.0,
            on_end=lambda: RoutineState.REFUSED,
        )

    code = bench.code_of("parking brake")
    return bench.module(
        "parking brake",
        memory=memory,
        identifiers=[
            live(CALIPERS, "service position 0 or 1; left, right: peak 0.1 A, time 0.1 s, current 0.1 A", shown),
            live(CONTACTS, "contact learned 0 or 1 and place 0.1 mm, left, right", contacts),
        ],
        routines=[
            routine(OPEN_CALIPERS, "wind back for service", -1),
            routine(CLOSE_CALIPERS, "apply and learn the contact", 1),
        ],
        codes=[
            TroubleCode(code << 8 | 0x00, "parking brake in service position", lambda: brake.service, lamp=True),
            TroubleCode(code << 8 | 0x54, "contact not learned", lambda: not brake.contacts[0].learned, lamp=True),
            TroubleCode((code + 1) << 8 | 0x62, "motor currents left and right differ", unlike, lamp=True),
        ],
    )
