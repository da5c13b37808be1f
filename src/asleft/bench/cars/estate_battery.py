"""Battery monitor of the estate: what it was told of the battery decides how it is charged and what it says of it.

The sensor sits in the negative lead: current that goes round it is not seen. Identifiers are inventions.
"""

from __future__ import annotations

from dataclasses import replace
from struct import pack
from typing import Any

from ..identifiers import Identifier, Write, cell, live
from ..memory import Memory
from ..module import ControlModule
from ..physics.powertrain import Powertrain
from ..trouble_memory import TroubleCode
from .estate_build import Workbench, signed

DATA, CURRENT, CHARGE, SINCE = 0x2B11, 0x2B12, 0x2B13, 0x2B14

#: Kinds: code -> name and what the alternator holds with it at 20 °C, V (common practice, no source).
KINDS: dict[int, tuple[str, float]] = {1: ("flooded", 14.30), 2: ("enhanced flooded", 14.50), 3: ("glass mat", 14.75)}
LEAST_AH, MOST_AH = 40, 105


def record(kind: int, ampere_hours: int, made: str, serial: str) -> bytes:
    """Content of the data identifier: kind, capacity in Ah, year and week made (four digits), serial number (eight)."""
    return bytes([kind, ampere_hours]) + made.encode("ascii") + serial.encode("ascii")


class BatteryMonitor:
    """The module's side of the battery.

    Attributes: kind, ah: of the battery fitted, in truth. bypass: share of the current that goes round the sensor.
        seen_ah: taken out since it was told of a battery, by its own counting. begun: charge thought to be there then.
        days: since then.
    """

    CHANGES = ("kind", "ah", "bypass", "seen_ah", "begun", "days", "_last_s")

    def __init__(self, train: Powertrain[Any, Any], memory: Memory) -> None:
        self.kind = 1
        self.ah = 60
        self.bypass = 0.0
        self.seen_ah = 0.0
        self.begun = train.supply.battery.charge
        self.days = 1400.0
        self._train = train
        self._memory = memory
        self._base_v = train.alternator_v - KINDS[1][1]
        self._last_s = 0.0

    @property
    def told(self) -> bytes:
        """What it was told."""
        return bytes(self._memory[cell(DATA)])

    def fit(self, kind: int, ah: int, charge: float) -> None:
        """Another battery, in truth; the module is told nothing."""
        self.kind, self.ah = kind, ah
        self.settle()
        self._train.supply.battery.charge = charge
        self._train.supply.battery.slow_v = 0.0

    def settle(self) -> None:
        """Sizes of the battery from what is fitted."""
        battery = self._train.supply.battery
        battery.spec = replace(battery.spec, capacity_ah=float(self.ah), inner_ohm=0.009 * 60.0 / self.ah)

    def true_a(self) -> float:
        """Current out of the battery now, A."""
        supply = self._train.supply
        return supply.battery.current_at(supply.volts)

    def measured_a(self) -> float:
        """The same as the sensor sees it."""
        return self.true_a() * (1.0 - self.bypass)

    def charge(self) -> float:
        """Charge as it counts it, 0 to 1."""
        return min(1.0, max(0.0, self.begun - self.seen_ah / max(1, self.told[1])))

    def advance(self, t_s: float) -> None:
        """Count what flows and set the alternator, to car time t_s, s."""
        passed_s, self._last_s = t_s - self._last_s, t_s
        self.seen_ah += self.measured_a() * passed_s / 3600.0
        self.days += passed_s / 86_400.0
        self._train.alternator_v = self._base_v + KINDS.get(self.told[0], KINDS[1])[1]

    def was_told(self, _data: bytes) -> None:
        """A battery was entered: begin to count anew from what the voltage says."""
        self.begun = min(1.0, max(0.0, self._train.supply.volts - 11.75 + 0.009 * self.measured_a()))
        self.seen_ah = self.days = 0.0


def battery_monitor(bench: Workbench, monitor: BatteryMonitor, memory: Memory, serial: str) -> ControlModule:
    """The module."""
    side = bench.side

    def check(data: bytes) -> int | None:
        made, serial = data[2:6], data[6:]
        well = data[0] in KINDS and LEAST_AH <= data[1] <= MOST_AH and made.isdigit() and serial.isalnum()
        return None if well and 1 <= int(made[2:]) <= 53 else 0x31

    rule = Write(
        conditions=(*bench.standing(), bench.supply(11.8)),
        check=check,
        done=monitor.was_told,
        takes_s=0.2,
    )

    def gone_by() -> bool | None:
        """More went out by counting than the battery's voltage agrees with."""
        if side.running() or not side.key_on() or not 0.0 < monitor.measured_a() < 30.0:
            return None
        return abs(monitor.charge() - (side.volts() - 11.6)) > 0.6

    return bench.module(
        "battery monitor",
        memory=memory,
        identifiers=[
            Identifier(
                DATA,
                "kind 1 flooded 2 enhanced flooded 3 glass mat; Ah; year and week made; serial number",
                initial=record(1, 60, "2714", serial),
                write=rule,
            ),
            live(CURRENT, "current out of the battery: 0.01 A", signed(monitor.measured_a, 0.01)),
            live(CHARGE, "charge by its own counting: 0.5 %", lambda: bytes([round(monitor.charge() * 200.0)])),
            live(SINCE, "days since it was told", lambda: pack(">H", min(65535, int(monitor.days)))),
        ],
        codes=[TroubleCode(bench.code_of("battery monitor") << 8 | 0x62, "counting does not fit", gone_by, fail_s=5.0)],
    )
