"""The engine module of the petrol car: OBD data, identifiers, learned values, routines, trouble codes.

Identifiers 4C21 to 4C2B and routines 5A31, 5A32 are inventions of the bench.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from struct import pack

from ..identifiers import Identifier, Write, coding, live
from ..memory import LearnedValue, Memory
from ..module import Address, Broadcast, ControlModule, Timing
from ..obd import Monitor, MonitorTest, Obd
from ..physics.noise import Noise
from ..physics.plate_control import learn_movement, length_s
from ..physics.powertrain import Powertrain
from ..routines import Routine, RoutineState
from ..security import SecurityLevel
from ..service import Condition, refuse_if
from ..trouble_memory import TroubleCode
from .identity import Identity, identification
from .petrol_diary import Diary
from .petrol_sizes import Learnt

#: Routine identifiers of the bench's own making.
LEARN_STOP = 0x5A31
LEARN_IDLE = 0x5A32

#: Data identifiers of the bench's own making.
STOP_VALUE = 0x4C21
REST_VALUE = 0x4C22
IDLE_AIR_VALUE = 0x4C23
LONG_TRIM_VALUE = 0x4C24
PLATE_SENSORS = 0x4C25
IDLE_TARGET = 0x4C26
DRIVER_INPUTS = 0x4C27
WRITE_COUNTS = 0x4C28
CODING = 0x3B10


@dataclass
class EngineSide:
    """What the engine module sees and keeps.

    Attributes:
        powertrain, values, diary: physics, learned values, counters. sensing: noise of its sensors.
        pace: how slow its learn is, 1 normal. speed_km_h, selector, brake: from the rest of the car.
        brake, selector: driver's inputs. lamp: whether the warning lamp is requested.
    """

    powertrain: Powertrain
    values: Learnt
    diary: Diary
    sensing: Noise
    pace: float
    pedal_rest_pct: float
    speed_km_h: Callable[[], float]
    selector: Callable[[], str]
    brake: Callable[[], bool]
    lamp: Callable[[], bool] = lambda: False

    @property
    def pedal_d_pct(self) -> float:
        """Pedal sensor D, %."""
        return self.pedal_rest_pct + 72.0 * self.powertrain.pedal

    @property
    def volts(self) -> float:
        """Supply as the module measures it, V."""
        return max(0.0, self.powertrain.module_v + 0.008 * self.sensing.normal())

    @property
    def spark_deg(self) -> float:
        """Spark before top dead centre; 5 before the engine runs."""
        train = self.powertrain
        return (train.idle.spark_deg if train.pedal < 0.02 else 22.0) if train.running else 5.0


def raw_counts(percent: float) -> int:
    """12-bit counts of a sensor reading in % of its supply."""
    return min(4095, max(0, round(percent * 40.95)))


def engine_module(side: EngineSide, memory: Memory, identity: Identity, vin: str, ecu_name: str) -> ControlModule:
    """The module, to be put on a bus by its car."""
    codes = engine_codes(side)
    return ControlModule(
        "engine",
        Address.normal(0x7E0, 0x7E8),
        memory=memory,
        identifiers=[*identification(identity, vin), *engine_identifiers(side, memory)],
        routines=engine_routines(side),
        codes=codes,
        security=[SecurityLevel()],
        obd=engine_obd(side, identity, vin, ecu_name),
        broadcasts=[Broadcast(0x120, 0.1, lambda: _broadcast(side))],
        timing=Timing(latency_s=0.004, jitter_s=0.004, boot_s=0.25, after_run_s=1.5, block_size=0),
    )


def engine_obd(side: EngineSide, identity: Identity, vin: str, ecu_name: str) -> Obd:
    """OBD services 01 to 0A of the engine module."""
    diary = side.diary
    calibration = f"{identity.software}{identity.version.replace('.', '')}"
    cvn = int.from_bytes(identity.serial[:4].encode(), "big") ^ 0x5EED_1234
    monitors = [
        Monitor("misfire"),
        Monitor("fuel"),
        Monitor("components"),
        *(Monitor(name, lambda name=name: diary.complete(name)) for name in diary.done_s),
    ]
    sensor_test = 0x0B40 + int(identity.serial[-2:])
    return Obd(
        values=obd_values(side),
        raw={
            0x03: lambda: bytes([_fuel_state(side.powertrain), 0]),
            0x1C: lambda: b"\x06",
            0x51: lambda: b"\x01",
        },
        monitors=tuple(monitors),
        tests=(MonitorTest(0x01, 0x01, 0x0A, lambda: sensor_test, 0x0800, 0x1000),),
        freeze_pids=(0x04, 0x05, 0x06, 0x07, 0x0B, 0x0C, 0x0D, 0x11, 0x1F, 0x42),
        vin=vin,
        calibration_ids=(calibration,),
        verification_numbers=(cvn,),
        ecu_name=ecu_name,
        can_clear=lambda: 0x22 if side.powertrain.running else None,
        on_clear=diary.cleared,
    )


def obd_values(side: EngineSide) -> dict[int, Callable[[], float]]:
    """PIDs with one value, in the unit of the standard."""
    train, values, diary, noise = side.powertrain, side.values, side.diary, side.sensing
    heat, plate, crank = train.temperatures, train.plate, train.crank
    swept_l = crank.spec.swept_m3 * 1e3

    def absolute_load() -> float:
        return 0.0 if crank.rpm < 50.0 else train.air_kg_s * 1e3 * 120.0 / crank.rpm / (1.184 * swept_l) * 100.0

    return {
        0x04: lambda: train.load_share * 100.0,
        0x05: lambda: heat.coolant_c + 0.15 * noise.normal(),
        0x06: lambda: train.fuel.short * 100.0,
        0x07: lambda: values.long_trim.value * 100.0,
        0x0B: lambda: train.manifold.pressure_pa / 1e3 + (0.45 * noise.normal() if train.running else 0.1),
        0x0C: lambda: crank.rpm,
        0x0D: side.speed_km_h,
        0x0E: lambda: side.spark_deg,
        0x0F: lambda: heat.intake_c + 0.15 * noise.normal(),
        0x10: lambda: max(0.0, train.metered_kg_s * 1e3 * (1.0 + 0.008 * noise.normal())),
        0x11: lambda: train.throttle.sensor_a,
        0x1F: lambda: train.run_s if train.running else 0.0,
        0x21: lambda: diary.lamp_km,
        0x2E: lambda: train.purge * 100.0,
        0x2F: lambda: train.fuel_l / 50.0 * 100.0,
        0x30: lambda: diary.warm_ups,
        0x31: lambda: diary.clear_km,
        0x33: lambda: train.ambient_pa / 1e3,
        0x3C: lambda: heat.catalyst_c,
        0x42: lambda: side.volts,
        0x43: absolute_load,
        0x44: lambda: 1.0 if train.fuel.closed or not train.running else 0.94,
        0x45: lambda: max(0.0, train.throttle.sensor_a - values.stop.value),
        0x46: lambda: heat.ambient_c,
        0x47: lambda: train.throttle.sensor_b,
        0x49: lambda: side.pedal_d_pct + 0.02 * noise.normal(),
        0x4A: lambda: 0.5 * side.pedal_d_pct + 0.02 * noise.normal(),
        0x4C: lambda: max(0.0, plate.command_pct),
        0x4D: lambda: diary.lamp_s / 60.0,
        0x4E: lambda: diary.clear_s / 60.0,
    }


def engine_identifiers(side: EngineSide, memory: Memory) -> list[Identifier]:
    """Identifiers of the bench's own making: learned values with window and origin, finer live data, coding."""
    train, values = side.powertrain, side.values
    stop = values.stop
    sensors: Callable[[], bytes] = lambda: pack(  # noqa: E731
        ">HH", raw_counts(train.throttle.sensor_a), raw_counts(train.throttle.sensor_b)
    )
    inputs: Callable[[], bytes] = lambda: bytes([side.brake(), "PRND".index(side.selector())])  # noqa: E731
    counts: Callable[[], bytes] = lambda: pack(  # noqa: E731
        ">HH", memory.writes(stop.name) & 0xFFFF, train.plate.cycles & 0xFFFF
    )
    return [
        live(STOP_VALUE, "learned lower stop: counts, 0.01 %, lowest and highest counts, learned", _stop_bytes(stop)),
        live(REST_VALUE, "learned spring rest: as the lower stop", _stop_bytes(values.rest)),
        live(IDLE_AIR_VALUE, "learned idle air: mg/s signed, lowest, highest", _air_bytes(values.idle_air)),
        live(LONG_TRIM_VALUE, "long-term trim: 0.01 % signed", lambda: pack(">h", round(values.long_trim.value * 1e4))),
        live(PLATE_SENSORS, "throttle sensors A and B: 12-bit counts", sensors),
        live(IDLE_TARGET, "idle target: 0.25 1/min", lambda: pack(">H", round(train.idle.target_rpm * 4.0))),
        live(DRIVER_INPUTS, "foot brake 0 or 1; selector 0 P, 1 R, 2 N, 3 D", inputs),
        live(WRITE_COUNTS, "writes of the lower stop; key-ons", counts),
        coding(
            CODING,
            "engine variant: market, gearbox, options; checksum",
            bytes([0x02, 0x11, 0x40]),
            checksum=checksum,
            write=Write(level=0x01, conditions=(refuse_if(lambda: train.running, 0x83),), takes_s=0.2),
        ),
    ]


def checksum(body: bytes) -> bytes:
    """The bench's coding checksum: sum of the bytes, inverted, one byte."""
    return bytes([~sum(body) & 0xFF])


def engine_conditions(side: EngineSide) -> tuple[Condition, ...]:
    """What the lower-stop learn asks of the car, in the order it looks; the code says which failed."""
    train = side.powertrain
    heat = train.temperatures
    return (
        refuse_if(lambda: train.crank.rpm > 50.0, 0x83),
        refuse_if(lambda: side.speed_km_h() > 0.5, 0x88),
        refuse_if(lambda: train.pedal > 0.02, 0x8A),
        refuse_if(lambda: train.module_v < 11.8, 0x93),
        refuse_if(lambda: train.module_v > 15.2, 0x92),
        refuse_if(lambda: heat.coolant_c > 100.0 or heat.intake_c > 60.0, 0x86),
        refuse_if(lambda: heat.coolant_c < 5.0 or heat.intake_c < 5.0, 0x87),
        refuse_if(lambda: not train.throttle.fitted or not train.plate.checked, 0x22),
    )


def engine_routines(side: EngineSide) -> list[Routine]:
    """Lower-stop learn and idle relearn."""
    train, values = side.powertrain, side.values
    conditions = engine_conditions(side)

    def store_stop() -> RoutineState:
        low_ok = values.stop.low <= train.plate.measured_stop_pct <= values.stop.high
        if not low_ok or not values.rest.learn(train.plate.measured_rest_pct):
            return RoutineState.REFUSED
        return RoutineState.STORED if values.stop.learn(train.plate.measured_stop_pct) else RoutineState.REFUSED

    def store_air() -> RoutineState:
        stored = values.idle_air.learn(values.idle_air.value + train.idle.integral_g_s)
        if stored:
            train.idle.rest()
        return RoutineState.STORED if stored else RoutineState.REFUSED

    return [
        Routine(
            LEARN_STOP,
            "electronic throttle lower-stop learn",
            start_conditions=conditions,
            keep_conditions=conditions[:5],
            on_start=lambda _option: _start_learn(side),
            takes_s=lambda: length_s(learn_movement(side.pace)) + 0.1,
            on_end=store_stop,
            on_stop=train.plate.break_off,
            result=lambda: pack(
                ">HH", raw_counts(train.plate.measured_stop_pct), raw_counts(train.plate.measured_rest_pct)
            ),
        ),
        Routine(
            LEARN_IDLE,
            "idle relearn",
            start_conditions=(
                refuse_if(lambda: not train.running, 0x84),
                refuse_if(lambda: train.run_s < 60.0, 0x85),
                refuse_if(lambda: train.temperatures.coolant_c < 75.0, 0x87),
                refuse_if(lambda: train.pedal > 0.02, 0x8A),
                refuse_if(lambda: bool(train.plate.stop_wrong), 0x22),
            ),
            keep_conditions=(refuse_if(lambda: not train.running, 0x84), refuse_if(lambda: train.pedal > 0.02, 0x8A)),
            takes_s=12.0,
            on_end=store_air,
            result=lambda: pack(">h", round(values.idle_air.value * 1e3)),
        ),
    ]


def engine_codes(side: EngineSide) -> list[TroubleCode]:
    """Trouble codes with the rule by which each comes and goes."""
    train, values, diary = side.powertrain, side.values, side.diary
    throttle = train.throttle

    def circuit() -> bool | None:
        return not throttle.fitted if train.key_on else None

    def correlation() -> bool | None:
        if not throttle.fitted:
            return None
        ideal = 100.0 - throttle.reading_a(throttle.angle_deg)
        return abs(throttle.sensor_b - ideal) > 5.0

    def trim(limit: float, sign: int) -> Callable[[], bool | None]:
        def test() -> bool | None:
            if not train.running or not train.fuel.closed:
                return None
            return sign * (values.long_trim.value + train.fuel.mean) > limit

        return test

    idle_tested: Callable[[], bool] = lambda: train.running and train.run_s > 20.0  # noqa: E731
    return [
        TroubleCode(
            0x217600,
            "throttle: lower stop not learned or not as learned",
            lambda: train.plate.stop_wrong if throttle.fitted else None,
            fail_s=0.3,
            lamp=True,
            emission=True,
        ),
        TroubleCode(0x012200, "throttle sensor A: circuit low", circuit, lamp=True, emission=True),
        TroubleCode(0x022200, "throttle sensor B: circuit low", circuit, lamp=True, emission=True),
        TroubleCode(0x213500, "throttle sensors A and B disagree", correlation, lamp=True, emission=True),
        TroubleCode(
            0x050700,
            "idle speed higher than expected",
            lambda: diary.high_s > 8.0 if idle_tested() else None,
            trips=2,
            lamp=True,
            emission=True,
        ),
        TroubleCode(
            0x050600,
            "idle speed lower than expected",
            lambda: diary.low_s > 8.0 if idle_tested() else None,
            trips=2,
            lamp=True,
            emission=True,
        ),
        TroubleCode(0x017100, "mixture too lean", trim(0.20, 1), fail_s=20.0, trips=2, lamp=True, emission=True),
        TroubleCode(0x017200, "mixture too rich", trim(0.20, -1), fail_s=20.0, trips=2, lamp=True, emission=True),
        TroubleCode(
            0x056200,
            "supply voltage low",
            lambda: train.module_v < 10.8 if train.key_on and not train.starter else None,
            fail_s=3.0,
            emission=True,
        ),
    ]


def _start_learn(side: EngineSide) -> None:
    side.powertrain.plate.learn(side.pace)


def _stop_bytes(value: LearnedValue) -> Callable[[], bytes]:
    def encode() -> bytes:
        window = raw_counts(value.low), raw_counts(value.high)
        return pack(">HHHHB", raw_counts(value.value), round(value.value * 100.0), *window, value.learned)

    return encode


def _air_bytes(value: LearnedValue) -> Callable[[], bytes]:
    return lambda: pack(">hhh", *(round(part * 1e3) for part in (value.value, value.low, value.high)))


def _fuel_state(train: Powertrain) -> int:
    if not train.running:
        return 0
    return 2 if train.fuel.closed else 1


def _broadcast(side: EngineSide) -> bytes:
    train = side.powertrain
    coolant = min(255, max(0, round(train.temperatures.coolant_c + 40.0)))
    return pack(">HBBBxxx", round(train.crank.rpm * 4.0) & 0xFFFF, round(train.pedal * 200.0), coolant, side.lamp())
