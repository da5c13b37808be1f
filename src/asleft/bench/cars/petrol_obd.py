"""OBD services of our petrol engine modules: what each parameter shows."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from ..obd import Monitor, MonitorTest, Obd
from ..physics.powertrain import Powertrain
from .identity import Identity
from .petrol_side import EngineSide, TrainSide

Values = dict[int, Callable[[], float]]


def engine_obd(
    side: TrainSide,
    values: Values,
    identity: Identity,
    vin: str,
    ecu_name: str,
    more_tests: tuple[MonitorTest, ...] = (),
) -> Obd:
    """OBD services 01 to 0A of an engine module that shows these values."""
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
        values={pid: side.shown(pid, value) for pid, value in values.items()},
        raw=raw_values(side),
        monitors=tuple(monitors),
        tests=(MonitorTest(0x01, 0x01, 0x0A, lambda: sensor_test, 0x0800, 0x1000), *more_tests),
        freeze_pids=tuple(pid for pid in (0x04, 0x05, 0x06, 0x07, 0x0B, 0x0C, 0x0D, 0x11, 0x1F, 0x42) if pid in values),
        vin=vin,
        calibration_ids=(calibration,),
        verification_numbers=(cvn,),
        ecu_name=ecu_name,
        can_clear=lambda: 0x22 if side.powertrain.running else None,
        on_clear=diary.cleared,
    )


def raw_values(side: TrainSide) -> Mapping[int, Callable[[], bytes]]:
    """Parameters that are no single number: fuel system, kind of OBD, fuel."""
    return {
        0x03: lambda: bytes([_fuel_state(side.powertrain), 0]),
        0x1C: lambda: b"\x06",
        0x51: lambda: b"\x01",
    }


def engine_values(side: EngineSide) -> Values:
    """Parameters of the engine module with an electronic throttle."""
    train, values = side.electronic, side.values
    return shared_values(side) | {
        0x11: lambda: train.throttle.sensor_a,
        0x45: lambda: max(0.0, train.throttle.sensor_a - values.stop.value),
        0x47: lambda: train.throttle.sensor_b,
        0x49: lambda: side.pedal_unit.d_pct(train.travel),
        0x4A: lambda: side.pedal_unit.e_pct(train.travel),
        0x4C: lambda: max(0.0, train.plate.command_pct),
        0x5A: side.pedal.relative_pct,
    }


def shared_values(side: TrainSide) -> Values:
    """Parameters of any of our petrol engines, in the unit of the standard."""
    train, diary, noise = side.powertrain, side.diary, side.sensing
    heat, crank = train.temperatures, train.crank
    swept_l = crank.spec.swept_m3 * 1e3

    def absolute_load() -> float:
        return 0.0 if crank.rpm < 50.0 else train.air_kg_s * 1e3 * 120.0 / crank.rpm / (1.184 * swept_l) * 100.0

    return {
        0x04: lambda: train.load_share * 100.0,
        0x05: lambda: heat.sensed_c + 0.15 * noise.normal(),
        0x06: lambda: train.fuel.short * 100.0,
        0x07: lambda: side.long_trim.value * 100.0,
        0x0B: lambda: train.manifold.pressure_pa / 1e3 + (0.45 * noise.normal() if train.running else 0.1),
        0x0C: lambda: crank.rpm,
        0x0D: side.speed_km_h,
        0x0E: lambda: side.spark_deg,
        0x0F: lambda: heat.intake_c + 0.15 * noise.normal(),
        0x10: lambda: max(0.0, train.metered_kg_s * 1e3 * train.defects.meter_gain * (1.0 + 0.008 * noise.normal())),
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
        0x46: lambda: heat.ambient_c,
        0x4D: lambda: diary.lamp_s / 60.0,
        0x4E: lambda: diary.clear_s / 60.0,
    }


def _fuel_state(train: Powertrain[Any, Any]) -> int:
    if not train.running:
        return 0
    return 2 if train.fuel.closed else 1
