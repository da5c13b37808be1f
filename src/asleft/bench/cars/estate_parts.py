"""What the estate has beyond engine and chassis: lamps, panels, parking brake, gearbox, lights, battery, fitted list.

Each is a part with its own state; `EstateParts` brings them forward in time together and saves them.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from typing import Any

from ..memory import Memory
from ..module import ControlModule
from ..physics.beam import Beam
from ..physics.clutches import ELEMENTS, Clutches
from ..physics.noise import Noise
from ..physics.panel import Panel, PanelSpec
from ..physics.state import restore_part, save_part
from .estate_battery import BatteryMonitor, battery_monitor
from .estate_brake import ParkingBrake, parking_brake
from .estate_build import Workbench
from .estate_gateway import AWAKE_A, FittedList, gateway_module
from .estate_gearbox import GearboxLearn, make_fills, transmission
from .estate_lamps import Lamps
from .estate_light import Levelling, headlamp_levelling
from .estate_panels import PanelControl, panel_module
from .estate_side import ChassisSide
from .petrol_side import EngineSide

_KEPT = ("lamps", "window", "roof", "brake", "clutches", "gearbox", "light", "battery", "fitted")


class EstateParts:
    """The parts of one estate and their modules' memories.

    Args: seed: of the car. side, engine: what modules see. lacking: modules that this car was built without.
    """

    def __init__(self, seed: int, side: ChassisSide, engine: EngineSide, lacking: Iterable[str] = ()) -> None:
        chance = Noise(seed, "parts")
        names = ("gateway", "window", "roof", "brake", "gearbox", "light", "battery")
        self.memories = {name: Memory() for name in names}
        memory = self.memories
        self._side, self._engine = side, engine
        self.lamps = Lamps()
        self.window = PanelControl(Panel(PanelSpec(452.0, 165.0), seed, "window"), memory["window"])
        self.roof = PanelControl(Panel(PanelSpec(410.0, 82.0, friction_n=70.0), seed, "roof"), memory["roof"])
        self.brake = ParkingBrake(seed, side.chassis.drive, memory["brake"])
        fills = make_fills(memory["gearbox"])
        needs = [chance.between(0.88, 1.12) for _ in ELEMENTS]
        self.clutches = Clutches(needs, fills, lambda: side.oil_c, seed)
        side.chassis.drive.clutches = self.clutches
        self.gearbox = GearboxLearn(self.clutches, fills)
        self.light = Levelling(Beam([chance.between(-0.3, 0.3), chance.between(-0.3, 0.3)]), side, memory["light"])
        self.battery = BatteryMonitor(engine.powertrain, memory["battery"])
        self.fitted = FittedList(memory["gateway"], lacking)
        self._serial = f"{chance.whole(10_000_000, 99_999_999)}"

    def modules(self, bench: Workbench, list_written: Callable[[bytes], None]) -> dict[str, ControlModule]:
        """The modules that belong to the parts, by name."""
        memory = self.memories
        made = {
            "gateway": gateway_module(bench, self.fitted, memory["gateway"], list_written),
            "door driver": panel_module(bench, "door driver", self.window, memory["window"], 0x1A40, 0x62A1),
            "roof": panel_module(bench, "roof", self.roof, memory["roof"], 0x8C05, 0x0F31),
            "parking brake": parking_brake(bench, self.brake, memory["brake"]),
            "transmission": transmission(bench, self._engine, self.gearbox, memory["gearbox"]),
            "headlamp levelling": headlamp_levelling(bench, self.light, memory["light"]),
            "battery monitor": battery_monitor(bench, self.battery, memory["battery"], self._serial),
        }
        for part in (self.window, self.roof, self.brake, self.gearbox):
            part.learn_long_ago()
        self.light.zero.learn(self.light.measured_deg())
        return made

    def advance(self, t_s: float) -> None:
        """Bring everything to car time t_s, s."""
        volts = self._side.volts() if self._side.key_on() else self._engine.powertrain.supply.volts
        self.window.advance(t_s, volts)
        self.roof.advance(t_s, volts)
        self.brake.advance(t_s, volts)
        self.light.lit = self._side.key_on() and "lamps" in self._engine.powertrain.consumers
        self.light.advance()
        self.battery.advance(t_s)
        self.gearbox.drive(self._engine.powertrain.pedal, self._side.oil_c)
        motors = self.window.panel.current_a + self.roof.panel.current_a + self.brake.current_a
        awake = AWAKE_A if self.fitted.silent and not self._side.key_on() else 0.0
        self._engine.powertrain.drive_motors(motors + awake)

    def truth(self) -> dict[str, Any]:
        """The true state, for grading only."""
        monitor, brake, light = self.battery, self.brake, self.light
        return {
            "window open, mm": self.window.panel.open_mm,
            "window learned": self.window.travel.learned,
            "roof learned": self.roof.travel.learned,
            "clamping, kN": [side.force_kn for side in brake.sides],
            "pads, mm": [side.pad_mm for side in brake.sides],
            "clutch fill missing, share": [self.clutches.short(element) for element in range(len(ELEMENTS))],
            "beams, %": [light.percent(0), light.percent(1)],
            "battery fitted": [monitor.kind, monitor.ah],
            "battery told": [monitor.told[0], monitor.told[1]],
            "modules silent": sorted(self.fitted.silent),
            "modules not listed": sorted(self.fitted.strangers),
        }

    def save(self) -> dict[str, Any]:
        """JSON values."""
        return {name: save_part(getattr(self, name)) for name in _KEPT}

    def restore(self, state: Mapping[str, Any]) -> None:
        """Take over what `save` gave."""
        for name in _KEPT:
            restore_part(getattr(self, name), state[name])
        self.battery.settle()
