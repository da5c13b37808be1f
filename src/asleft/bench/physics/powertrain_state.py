"""State of a powertrain: its parts, what the driver did to it, what can be read off it. Time is in `powertrain`."""

from __future__ import annotations

from collections.abc import Callable
from typing import Generic

from .consumers import CONSUMERS_A, drawn_a
from .crank import swept_m3_s
from .defects import Defects
from .flow import AIR_R
from .parts import BodyT, ControlT, Parts


class PowertrainState(Generic[BodyT, ControlT]):
    """The engine and what belongs to it, at one moment.

    Attributes:
        now_s: time reached. key_on, running, starter: states. run_s: since start. foot: on the pedal, 0 to 1.
        ambient_pa: pressure outside. purge_m2: effective area of the purge valve full open. purge: its duty, 0 to 1.
        consumers: names of what is switched on. cut: fuel is cut. defects: what is wrong.
        metered_kg_s, inlet_kg_s, air_kg_s: past the meter, into the manifold, into the cylinders, over the last step.
        drag: called each step with (engine speed in 1/min, dt_s): the torque the drive takes, N·m.
        motors_a: drawn by motors of the car's body and brakes, key on or off.
        top_rpm: where the module cuts the fuel. pedal_shift: what the module takes for foot and is not, as a share.
        alive: whether something else of the car moves, so that time must not jump.
    """

    CHANGES = (
        "now_s", "key_on", "running", "starter", "run_s", "crank_s", "foot", "ambient_pa", "purge_m2", "purge",
        "vapour", "consumers", "cooler_s", "wind_m_s", "metered_kg_s", "inlet_kg_s", "air_kg_s", "starts",
        "adapt_allowed", "cut", "heat_s", "heat_j",
        "exhaust_g", "defects", "throttle", "manifold", "crank", "temperatures", "supply", "plate", "idle",
        "fuel", "noise", "alternator_v", "fuel_l", "motors_a", "top_rpm",
    )  # fmt: skip
    TOP_RPM = 5900.0

    def __init__(self, parts: Parts[BodyT, ControlT], ambient_pa: float = 101_000.0) -> None:
        self.throttle = parts.throttle
        self.manifold = parts.manifold
        self.crank = parts.crank
        self.temperatures = parts.temperatures
        self.supply = parts.supply
        self.plate = parts.plate
        self.idle = parts.idle
        self.fuel = parts.fuel
        self.noise = parts.noise
        self.alternator_v = parts.alternator_v
        self._alternator_a = parts.alternator_a
        self.now_s = 0.0
        self.key_on = self.running = self.starter = False
        self.run_s = self.crank_s = 0.0
        self.ambient_pa = ambient_pa
        self.purge_m2 = 0.45e-6
        self.purge: float = 0.0
        self.vapour: float = 0.6
        self.consumers: list[str] = []
        self.cooler_s = 0.0
        self.wind_m_s = 0.0
        self.metered_kg_s = self.inlet_kg_s = self.air_kg_s = 0.0
        self.fuel_l: float = 30.0
        self.motors_a = 0.0
        self.top_rpm = self.TOP_RPM
        self.pedal_shift = 0.0
        self.starts = 0
        self.adapt_allowed = True
        self.cut = False
        self.foot = 0.0
        self.defects = Defects()
        self.heat_s = self.heat_j = self.exhaust_g = 0.0
        self._shares = (1.0, 0.0)
        self._drawing: tuple[bool, bool, bool, bool] | None = None
        self.drag: Callable[[float, float], float] = lambda _rpm, _dt: 0.0
        self.alive: Callable[[], bool] = lambda: False

    # -- acts ------------------------------------------------------------------------------------------------------

    def key(self, on: bool) -> None:
        """Key on, with the power-up check of the throttle, or key off, which stops the engine."""
        if on and not self.key_on:
            self.plate.key_on()
        if not on and self.key_on:
            self.stop()
            self.plate.key_off()
        self.key_on = on
        self.set_load()

    def start(self) -> None:
        """Turn the starter until the engine runs, for five seconds at most."""
        if self.key_on and not self.running:
            self.starter = True
            self.crank_s = 0.0

    def redraw(self) -> None:
        """Work out anew what is drawn, after a defect of it has changed."""
        self._drawing = None
        self.set_load()

    def drive_motors(self, amperes: float) -> None:
        """Motors elsewhere in the car draw so much."""
        if amperes != self.motors_a:
            self.motors_a = amperes
            self.redraw()

    def switch(self, consumer: str, on: bool) -> None:
        """Switch a consumer of `CONSUMERS_A` on or off. Raises KeyError: there is none of that name."""
        if consumer not in CONSUMERS_A:
            raise KeyError(consumer)
        if consumer in self.consumers:
            self.consumers.remove(consumer)
        if on:
            self.consumers.append(consumer)
            self.cooler_s = 0.0 if consumer == "cooler" else self.cooler_s
        self.redraw()

    # -- readings --------------------------------------------------------------------------------------------------

    @property
    def travel(self) -> float:
        """Pedal, 0 to 1 of its travel: the foot, or what else holds it down."""
        return max(self.foot, self.defects.pedal_rest)

    @property
    def pedal(self) -> float:
        """What the engine module takes for the pedal, 0 to 1."""
        return max(0.0, self.travel + self.pedal_shift)

    @property
    def cooler_on(self) -> bool:
        """The air conditioning's compressor works: switched on, engine running, in the working part of its cycle."""
        return self.running and "cooler" in self.consumers and self.cooler_s < 26.0

    @property
    def module_v(self) -> float:
        """Supply at the engine module: less than at the battery by what the harness drops, V."""
        volts = max(0.0, self.supply.volts - (0.004 + self.defects.contact_ohm) * self.supply.load_a - 0.02)
        return min(volts, self.defects.dip_v) if self.defects.dip_v > 0.0 and self.plate.learning else volts

    @property
    def load_share(self) -> float:
        """Calculated load, 0 to 1: air drawn over what full throttle would draw at this speed and pressure."""
        if self.crank.rpm < 50.0:
            return 0.0
        full = swept_m3_s(self.crank.spec, self.crank.rpm) * self.ambient_pa / (AIR_R * self.manifold.temperature_k)
        return min(1.0, self.air_kg_s / full)

    @property
    def quiet(self) -> bool:
        """Nothing turns or moves: time may pass in one jump."""
        return not (
            self.running
            or self.starter
            or self.crank.rpm > 0.0
            or self.plate.moving
            or self.alive()
            or (self.key_on and (self.pedal > 0.02 or self.plate.following))
        )

    # -- what follows from a change -----------------------------------------------------------------------------

    def stop(self) -> None:
        """The engine stands; what its module carried is forgotten."""
        self.running = self.starter = self.cut = False
        self.purge = 0.0
        self.idle.rest()
        self.fuel.rest()
        self.set_load()

    def set_load(self) -> None:
        """Current drawn, worked out anew when something has changed."""
        fan = self.temperatures.fan or self.cooler_on
        state = (self.key_on, self.running, self.starter, fan)
        if state != self._drawing:
            self._drawing = state
            drawn = drawn_a(self.consumers, key_on=self.key_on, running=self.running, starter=self.starter, fan=fan)
            self.supply.load_a = drawn + self.motors_a + (self.defects.hidden_a if self.key_on else 0.0)
