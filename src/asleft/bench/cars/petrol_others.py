"""The other modules of the petrol car: gateway, brakes, body, instrument cluster.

They identify themselves, hold coding with a checksum, and have codes of their own; each answers at its own pace.
Addresses, identifiers, coding bits and code numbers of the maker's range are inventions of the bench.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from struct import pack

from ..identifiers import Identifier, Write, cell, coding, live
from ..memory import Memory
from ..module import Address, Broadcast, ControlModule, Timing
from ..physics.noise import Noise
from ..security import SecurityLevel
from ..service import refuse_if
from ..trouble_memory import TroubleCode
from .identity import draw_identity, identification
from .petrol_body import BODY_BLANK, BODY_CODING, Fitted, body_coding, body_options, crc8
from .petrol_side import checksum

GATEWAY = Address.normal(0x6A0, 0x6A1)
BRAKES = Address.normal(0x6B2, 0x6B3)
BODY = Address.normal(0x6C4, 0x6C5)
CLUSTER = Address.normal(0x6D6, 0x6D7)

#: Coding identifiers.
BRAKES_CODING = 0x3B20
CLUSTER_CODING = 0x3B40
FITTED_LIST = 0x3B50


@dataclass
class OtherSide:
    """What these modules see of the car.

    Attributes:
        vin: of the car. chance: draws identities and coding. running: engine runs. key_on: terminal power.
        volts: at the modules. speed_km_h, distance_km, fuel_share, coolant_c: as named. brake: foot brake.
        tail_lamp_broken: a lamp circuit of the body is open. supply_was_off: the battery was taken away.
        fitted: what several modules know alike.
    """

    vin: str
    chance: Noise
    running: Callable[[], bool]
    key_on: Callable[[], bool]
    volts: Callable[[], float]
    speed_km_h: Callable[[], float]
    distance_km: Callable[[], float]
    fuel_share: Callable[[], float]
    coolant_c: Callable[[], float]
    brake: Callable[[], bool]
    tail_lamp_broken: bool
    supply_was_off: bool = False
    fitted: Fitted = field(default_factory=Fitted)

    def guard(self) -> Write:
        """Rule for coding: extended session, access open, standing, engine off, supply sound."""
        return Write(
            level=0x01,
            conditions=(
                refuse_if(self.running, 0x83),
                refuse_if(lambda: self.speed_km_h() > 0.5, 0x88),
                refuse_if(lambda: self.volts() < 11.5, 0x93),
            ),
            takes_s=0.15,
        )

    def low_supply(self, code: int) -> TroubleCode:
        """The code that every module has for a supply that is too low."""
        return TroubleCode(
            code, "supply voltage low", lambda: self.volts() < 9.5 if self.key_on() else None, fail_s=2.0
        )


def coding_codes(
    base: int, memory: Memory, did: int, *, check: Callable[[bytes], bytes] = checksum, blank: int = 0x00
) -> list[TroubleCode]:
    """Codes of a module whose coding is empty (failure type 55) or does not fit its checksum (56).

    Args: base: first two bytes of the code. memory, did: where the coding is. check: of the bytes before the last.
        blank: byte that fills an empty one; where it is not zero, an empty one has no checksum.
    """

    name = cell(did)
    seen: list[object] = [None, False, False]

    def judged() -> list[object]:
        """The coding last looked at, whether it is empty, whether it does not fit; worked out when it has changed."""
        held = memory[name]
        if held is not seen[0]:
            stored = bytes(held)
            empty = set(stored[:-1]) == {blank}
            seen[:] = [held, empty, check(stored[:-1]) != stored[-1:] and not (empty and blank)]
        return seen

    return [
        TroubleCode(base << 8 | 0x55, "coding: not configured", lambda: bool(judged()[1])),
        TroubleCode(base << 8 | 0x56, "coding: not valid", lambda: bool(judged()[2])),
    ]


def other_modules(side: OtherSide) -> list[ControlModule]:
    """Gateway, brakes, body and cluster, to be put on a bus by their car."""
    return [_gateway(side), _brakes(side), _body(side), _cluster(side)]


def _gateway(side: OtherSide) -> ControlModule:
    identity = draw_identity(side.chance, "AGW", 4410, "GATEWAY")
    fitted = coding(
        FITTED_LIST, "modules fitted: one bit each; checksum", b"\x1f", checksum=checksum, write=side.guard()
    )
    return ControlModule(
        "gateway",
        GATEWAY,
        memory=Memory(),
        identifiers=[*identification(identity, side.vin), fitted],
        codes=[side.low_supply(0xD01616)],
        security=[SecurityLevel()],
        timing=Timing(latency_s=0.002, jitter_s=0.001, boot_s=0.15, after_run_s=3.0, block_size=0),
    )


def _brakes(side: OtherSide) -> ControlModule:
    memory = Memory()
    identity = draw_identity(side.chance, "ABS", 2270, "BRAKES")

    def wheels() -> bytes:
        raw = round(side.speed_km_h() * 100.0) & 0xFFFF
        return pack(">HHHH", raw, raw, raw, raw)

    wheel_row = side.chance.whole(0, 3)
    side.fitted = Fitted(wheel_row, 0)
    variant = bytes([0x10 | wheel_row, 0x04])
    return ControlModule(
        "brakes",
        BRAKES,
        memory=memory,
        identifiers=[
            *identification(identity, side.vin),
            live(0x4D01, "wheel speeds FL FR RL RR: 0.01 km/h", wheels),
            live(0x4D02, "foot brake: 0 or 1", lambda: bytes([side.brake()])),
            coding(BRAKES_CODING, "wheel size, options; checksum", variant, checksum=checksum, write=side.guard()),
        ],
        codes=[
            *coding_codes(0x5A00, memory, BRAKES_CODING),
            side.low_supply(0x500116),
            TroubleCode(0x500A29, "wheel speed front left: signal not plausible"),
        ],
        security=[SecurityLevel(level=0x03, delay_s=15.0)],
        broadcasts=[Broadcast(0x1B0, 0.1, wheels)],
        timing=Timing(latency_s=0.009, jitter_s=0.004, boot_s=0.4, stmin=1, block_size=4),
    )


def _body(side: OtherSide) -> ControlModule:
    memory = Memory()
    identity = draw_identity(side.chance, "BCM", 1183, "BODY")
    options, side.fitted = body_options(side.chance, side.fitted.wheels)
    window = Identifier(
        0x4E02, "driver's window end position learned: 0 or 1", read=lambda: bytes([not side.supply_was_off])
    )
    return ControlModule(
        "body",
        BODY,
        memory=memory,
        identifiers=[
            *identification(identity, side.vin),
            live(0x4E01, "supply: mV", lambda: pack(">H", round(side.volts() * 1e3))),
            window,
            *body_coding(options, side.guard(), memory),
        ],
        codes=[
            *coding_codes(0x9A00, memory, BODY_CODING, check=crc8, blank=BODY_BLANK),
            TroubleCode(
                0x904213,
                "tail lamp left: circuit open",
                lambda: side.tail_lamp_broken if side.key_on() else None,
                fail_s=0.4,
            ),
            TroubleCode(0x911054, "driver's window: end position not learned", lambda: side.supply_was_off),
            side.low_supply(0x900116),
        ],
        security=[SecurityLevel()],
        timing=Timing(latency_s=0.016, jitter_s=0.012, boot_s=0.5, after_run_s=8.0, stmin=2, block_size=8),
    )


def _cluster(side: OtherSide) -> ControlModule:
    memory = Memory()
    identity = draw_identity(side.chance, "ICL", 3095, "CLUSTER")

    def shown() -> bytes:
        coolant = min(255, max(0, round(side.coolant_c() + 40.0)))
        return pack(">IBB", round(side.distance_km() * 10.0), round(side.fuel_share() * 200.0), coolant)

    return ControlModule(
        "cluster",
        CLUSTER,
        memory=memory,
        identifiers=[
            *identification(identity, side.vin),
            live(0x4F01, "distance 0.1 km, fuel 0.5 %, coolant +40 °C", shown),
            coding(
                CLUSTER_CODING,
                "language, units, dial; checksum",
                bytes([side.fitted.language, 0x01, 0x20]),
                checksum=checksum,
                changeable={0: 0xFF, 1: 0x03},
                write=side.guard(),
            ),
        ],
        codes=[
            *coding_codes(0x9A10, memory, CLUSTER_CODING),
            side.low_supply(0x930116),
            TroubleCode(0xD15500, "no messages from the engine module"),
        ],
        security=[SecurityLevel()],
        timing=Timing(latency_s=0.024, jitter_s=0.010, boot_s=0.6, stmin=5, block_size=2),
    )
