"""The engine module of the diesel: injector codes, return valve learn, smoothness of each cylinder, its OBD.

Identifiers 9D.. and routine 73C4 are inventions of the bench. The module counts its cylinders in firing order: the
first identifier is cylinder 1, the second cylinder 3, then 4, then 2.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from struct import pack
from typing import Any

from ..identifiers import Identifier, Write, cell, live
from ..memory import Kept, LearnedValue, Memory
from ..module import Address, Broadcast, ControlModule, Timing
from ..obd import Monitor, Obd
from ..physics.diesel import SMOOTH_MG, DieselTrain
from ..physics.exhaust_return import PER_PCT, ReturnControl
from ..physics.injectors import FIRING, decode
from ..physics.pedal import PedalUnit
from ..routines import Routine, RoutineState
from ..security import SecurityLevel
from ..service import refuse_if
from ..trouble_memory import TroubleCode
from .identity import Identity, identification
from .petrol_obd import Values
from .petrol_side import TrainSide

FIRST_CODE, SMOOTHNESS, RETURN_LEARNED, RETURN_NOW, LEARN_RETURN = 0x9D11, 0x9D20, 0x9D31, 0x9D32, 0x73C4

#: What the module takes for a closed valve, and for its travel, % of the supply.
CLOSED_PCT, TRAVEL_PCT = (9.0, 19.0), (56.0, 74.0)


@dataclass
class Told:
    """Correction of one cylinder from the code in the module's memory, mg."""

    memory: Memory
    did: int

    @property
    def value(self) -> float:
        """The correction; 0 without a valid code."""
        return decode(bytes(self.memory[cell(self.did)]).decode("ascii", "replace")) or 0.0

    def adapt(self, step: float) -> float:
        """A code is never adapted."""
        del step
        return self.value


@dataclass(kw_only=True)
class DieselSide(TrainSide):
    """What the diesel's engine module sees besides. closed, span: learned of the return valve."""

    diesel: DieselTrain
    pedal_unit: PedalUnit
    closed: LearnedValue
    span: LearnedValue
    memory: Memory
    extra: dict[str, Any] = field(default_factory=dict[str, Any])


def learned_return(memory: Memory) -> tuple[LearnedValue, LearnedValue]:
    """Closed reading and travel of the return valve."""
    (low, high), (least, most) = CLOSED_PCT, TRAVEL_PCT
    return (
        LearnedValue(memory, "return closed", default=14.0, low=low, high=high, kept=Kept.LASTING, unit="%"),
        LearnedValue(memory, "return travel", default=66.0, low=least, high=most, kept=Kept.LASTING, unit="%"),
    )


def diesel_engine(side: DieselSide, identity: Identity, vin: str, codes: list[str]) -> ControlModule:
    """The module. Args: codes: of the injectors in cylinders 1 to 4, as entered long ago."""
    module = ControlModule(
        "engine",
        Address.normal(0x7E0, 0x7E8),
        memory=side.memory,
        identifiers=[*identification(identity, vin), *_code_identifiers(side, codes), *_live(side)],
        routines=[_learn_return(side)],
        codes=_codes(side),
        security=[SecurityLevel(level=0x05, delay_s=12.0)],
        obd=_obd(side, identity, vin),
        busy=lambda: side.busy,
        broadcasts=[Broadcast(0x0F5, 0.05, lambda: pack(">HH", round(side.diesel.crank.rpm * 4.0) & 0xFFFF, 0))],
        timing=Timing(latency_s=0.007, jitter_s=0.006, boot_s=0.45, after_run_s=4.0, stmin=1, block_size=16),
    )
    for place, cylinder in enumerate(FIRING):
        side.diesel.told[cylinder - 1] = Told(side.memory, FIRST_CODE + place)
    return module


def _code_identifiers(side: DieselSide, codes: list[str]) -> list[Identifier]:
    train = side.diesel

    def check(data: bytes) -> int | None:
        return None if decode(data.decode("ascii", "replace")) is not None else 0x31

    rule = Write(
        level=0x05,
        conditions=(
            refuse_if(lambda: train.crank.rpm > 50.0, 0x83),
            refuse_if(lambda: side.speed_km_h() > 0.5, 0x88),
            refuse_if(lambda: train.module_v < 12.0, 0x93),
        ),
        check=check,
        done=lambda _data: setattr(train, "smooth_mg", [0.0] * 4),
        takes_s=0.3,
    )
    return [
        Identifier(
            FIRST_CODE + place,
            f"injector code, place {place + 1} in firing order: eight characters",
            initial=codes[cylinder - 1].encode("ascii"),
            write=rule,
        )
        for place, cylinder in enumerate(FIRING)
    ]


def _live(side: DieselSide) -> list[Identifier]:
    train, control = side.diesel, side.diesel.plate

    def smoothness() -> bytes:
        return pack(">4h", *(round(train.smooth_mg[cylinder - 1] * 100.0) for cylinder in FIRING))

    def learned() -> bytes:
        numbers = (side.closed.value, side.closed.low, side.closed.high, side.span.value)
        return pack(">4HB", *(round(number * 100.0) for number in numbers), side.closed.learned)

    def now() -> bytes:
        return pack(">HH", round(control.valve.sensor_pct * 100.0), round(control.command_pct * 100.0))

    return [
        live(SMOOTHNESS, "smoothness corrections in firing order: 0.01 mg signed, four", smoothness),
        live(RETURN_LEARNED, "closed, lowest, highest, travel: 0.01 %; learned 0 or 1", learned),
        live(RETURN_NOW, "return valve: sensor 0.01 %, opening asked for 0.01 %", now),
    ]


def _learn_return(side: DieselSide) -> Routine:
    train = side.diesel
    control: ReturnControl = train.plate

    def end() -> RoutineState:
        if len(control.found) != 3:
            return RoutineState.REFUSED
        first, opened, second = control.found
        travel = opened - second
        if abs(first - second) > 0.8 or not side.span.low <= travel <= side.span.high:
            return RoutineState.REFUSED
        stored = side.closed.learn(second) and side.span.learn(travel)
        return RoutineState.STORED if stored else RoutineState.REFUSED

    conditions = (
        refuse_if(lambda: train.crank.rpm > 50.0, 0x83),
        refuse_if(lambda: side.speed_km_h() > 0.5, 0x88),
        refuse_if(lambda: train.module_v < 12.0, 0x93),
        refuse_if(lambda: train.temperatures.sensed_c > 95.0, 0x86),
        refuse_if(lambda: train.temperatures.sensed_c < 5.0, 0x87),
    )
    return Routine(
        LEARN_RETURN,
        "return valve: closed reading and travel",
        start_conditions=conditions,
        keep_conditions=conditions[:3],
        on_start=lambda _option: (control.learn(), None)[1],
        takes_s=4.8,
        on_stop=control.break_off,
        on_end=end,
        result=lambda: pack(">3H", *(round(reading * 100.0) for reading in (*control.found, 0.0, 0.0, 0.0)[:3])),
    )


def _codes(side: DieselSide) -> list[TroubleCode]:
    train, control = side.diesel, side.diesel.plate

    def balance(cylinder: int) -> Callable[[], bool | None]:
        def test() -> bool | None:
            if not train.running or train.run_s < 20.0:
                return None
            return abs(train.smooth_mg[cylinder - 1]) > 0.85 * SMOOTH_MG

        return test

    def off_range() -> bool | None:
        """The valve does not do what is asked, at rest or at work."""
        if not train.key_on or control.learning:
            return None
        if train.running:
            return abs(control.actual_pct - control.command_pct) > 15.0 if control.command_pct > 5.0 else None
        return abs(control.valve.steady_pct - side.closed.value) / PER_PCT > 7.0

    def code_lost() -> bool:
        held = (bytes(side.memory[cell(FIRST_CODE + place)]) for place in range(4))
        return any(decode(data.decode("ascii", "replace")) is None for data in held)

    def low() -> bool | None:
        return train.module_v < 10.5 if train.key_on else None

    def emission(code: int, text: str, failing: Callable[[], bool | None], fail_s: float = 2.0) -> TroubleCode:
        return TroubleCode(code, text, failing, fail_s=fail_s, lamp=True, emission=True)

    names = {1: 0x026300, 2: 0x026600, 3: 0x026900, 4: 0x027200}
    return [
        *(emission(code, f"cylinder {number}: contribution", balance(number), 6.0) for number, code in names.items()),
        emission(0x040400, "return valve: range", off_range),
        emission(0x040500, "return valve sensor: circuit low", lambda: not control.valve.fitted),
        TroubleCode(0x12B055, "injector code missing", code_lost, lamp=True),
        TroubleCode(0x12B154, "return valve not learned", lambda: not side.closed.learned, lamp=True),
        TroubleCode(0x056200, "supply voltage low", low, fail_s=3.0),
    ]


def _obd(side: DieselSide, identity: Identity, vin: str) -> Obd:
    train, diary, noise = side.diesel, side.diary, side.sensing
    heat, control = train.temperatures, train.plate

    def return_error() -> float:
        asked = control.command_pct
        return (control.actual_pct - asked) / asked * 100.0 if asked > 1.0 else 0.0

    values: Values = {
        0x04: lambda: min(100.0, train.asked_mg / 46.0 * 100.0),
        0x05: lambda: heat.sensed_c + 0.15 * noise.normal(),
        0x0B: lambda: train.manifold.pressure_pa / 1e3,
        0x0C: lambda: train.crank.rpm,
        0x0D: side.speed_km_h,
        0x0F: lambda: heat.intake_c,
        0x10: lambda: max(0.0, train.metered_kg_s * 1e3 * train.defects.meter_gain * (1.0 + 0.008 * noise.normal())),
        0x1F: lambda: train.run_s if train.running else 0.0,
        0x21: lambda: diary.lamp_km,
        0x23: lambda: train.rail_mpa * 1e3,
        0x2C: lambda: control.command_pct,
        0x2D: return_error,
        0x2F: lambda: train.fuel_l / 55.0 * 100.0,
        0x30: lambda: diary.warm_ups,
        0x31: lambda: diary.clear_km,
        0x33: lambda: train.ambient_pa / 1e3,
        0x42: lambda: side.volts,
        0x46: lambda: heat.ambient_c,
        0x49: lambda: side.pedal_unit.d_pct(train.travel),
        0x4A: lambda: side.pedal_unit.e_pct(train.travel),
        0x4D: lambda: diary.lamp_s / 60.0,
        0x4E: lambda: diary.clear_s / 60.0,
    }
    return Obd(
        values={pid: side.shown(pid, value) for pid, value in values.items()},
        raw={0x1C: lambda: b"\x06", 0x51: lambda: b"\x04"},
        monitors=(Monitor("misfire"), Monitor("fuel"), Monitor("components")),
        freeze_pids=(0x04, 0x05, 0x0B, 0x0C, 0x0D, 0x1F, 0x42),
        vin=vin,
        calibration_ids=(f"{identity.software}{identity.version.replace('.', '')}",),
        verification_numbers=(int.from_bytes(identity.serial[:4].encode(), "big") ^ 0x0D1E_5E10,),
        ecu_name="ECM-EngineControl",
        compression_ignition=True,
        can_clear=lambda: 0x22 if train.running else None,
        on_clear=diary.cleared,
    )
