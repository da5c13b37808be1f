"""OBD services 01 02 03 04 06 07 09 0A of an emission-related bench module (SAE J1979 / ISO 15031-5).

Values come from callables in physical units; `obd_scaling` turns them into bytes, support bitmaps are made here::

    Obd(
        values={0x05: lambda: coolant.celsius, 0x0C: lambda: engine.rpm, 0x11: lambda: throttle.percent},
        raw={0x1C: lambda: b"\\x06"},
        monitors=(Monitor("catalyst", lambda: catalyst.tested),),
        vin="...", calibration_ids=("...",), verification_numbers=(0x1791BC82,), ecu_name="ECM-EngineControl",
    )
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field


@dataclass(frozen=True)
class Monitor:
    """One readiness monitor of PID 01.

    Attributes:
        name: misfire, fuel, components, catalyst, heated catalyst, evaporative, secondary air, air conditioning,
            oxygen sensor, oxygen sensor heater, exhaust gas recirculation (spark ignition set).
        complete: whether it has finished since the codes were cleared.
        on_clear: called when codes are cleared, to make it incomplete.
    """

    name: str
    complete: Callable[[], bool] = lambda: True
    on_clear: Callable[[], None] = lambda: None


@dataclass(frozen=True)
class MonitorTest:
    """One result of service 06: monitor and test identifier, unit-and-scaling identifier, raw value and limits."""

    mid: int
    tid: int
    scaling: int
    value: Callable[[], int]
    low: int
    high: int


@dataclass(frozen=True)
class Obd:
    """What the emission-related module answers.

    Attributes:
        values: PID -> value in the unit of `obd_scaling` (°C, 1/min, km/h, kPa, g/s, %, V, s ...).
        raw: PID -> bytes, for PIDs without one value (03, 13, 1C, 51 ...) or where ``values`` do not fit.
        monitors: readiness monitors supported; PIDs 01 and 41 are made from them.
        tests: results of service 06.
        freeze_pids: PIDs stored in the freeze frame of service 02.
        vin, calibration_ids, verification_numbers, ecu_name: service 09.
        compression_ignition: PID 01 B bit 3.
        can_clear: None when service 04 may clear, else the negative response code (22).
        on_clear: called after 04 or 14 cleared.
    """

    values: Mapping[int, Callable[[], float]] = field(default_factory=dict[int, Callable[[], float]])
    raw: Mapping[int, Callable[[], bytes]] = field(default_factory=dict[int, Callable[[], bytes]])
    monitors: tuple[Monitor, ...] = ()
    tests: tuple[MonitorTest, ...] = ()
    freeze_pids: tuple[int, ...] = (0x04, 0x05, 0x06, 0x07, 0x0B, 0x0C, 0x0D)
    vin: str = ""
    calibration_ids: tuple[str, ...] = ()
    verification_numbers: tuple[int, ...] = ()
    ecu_name: str = ""
    compression_ignition: bool = False
    can_clear: Callable[[], int | None] = lambda: None
    on_clear: Callable[[], None] = lambda: None
