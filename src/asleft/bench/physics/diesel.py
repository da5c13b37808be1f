"""A diesel engine: fuel sets the torque, the air is what the intake gives less what comes back from the exhaust.

Built on the powertrain of the petrol cars: crank, temperatures, supply and the grid of time are the same; combustion,
idle governor and air are its own. Firings are not single: a cylinder that gets more or less shows in the scatter of the
speed and in what the smoothness control has to add. Figures are common practice, no source.
"""

from __future__ import annotations

from math import exp, sqrt

from .crank import RAD_S, swept_m3_s
from .exhaust_return import IntakeFlap, ReturnControl
from .flow import AIR_R
from .injectors import Injectors
from .learned import Learned
from .parts import Parts
from .powertrain import Powertrain

#: Lower heating value of diesel, J/kg (from memory); best indicated efficiency; least air over fuel, by mass.
HEAT_J_KG, EFFICIENCY, SMOKE = 42.7e6, 0.425, 17.5
#: Quantity at full pedal and least, mg a stroke; idle governor: per 1/min, per 1/min and second.
FULL_MG, LEAST_MG = 46.0, 0.6
KP_MG, KI_MG = 0.018, 0.022
#: Smoothness control: most it adds to a cylinder, mg; how fast it works, s.
SMOOTH_MG, SMOOTH_S = 2.5, 12.0
#: Return valve: effective area full open, m²; opening asked for at warm idle, %.
RETURN_M2, IDLE_RETURN_PCT = 1.15e-4, 42.0


class DieselTrain(Powertrain[IntakeFlap, ReturnControl]):
    """The diesel.

    Attributes: injectors. codes: correction of each cylinder that the module was told, mg. smooth_mg: what smoothness
        control adds to each. asked_mg: quantity asked for. return_kg_s: exhaust gas coming back.
    """

    CHANGES = (*Powertrain.CHANGES, "injectors", "smooth_mg", "asked_mg", "governor_mg", "return_kg_s", "rail_mpa")

    def __init__(
        self, parts: Parts[IntakeFlap, ReturnControl], injectors: Injectors, told: list[Learned], ambient_pa: float
    ) -> None:
        super().__init__(parts, ambient_pa)
        self.injectors = injectors
        self.told = told
        self.smooth_mg = [0.0] * 4
        self.asked_mg = 0.0
        self.governor_mg = 6.0
        self.return_kg_s = 0.0
        self.rail_mpa = 0.3
        self.top_rpm = 4900.0

    @property
    def spread_mg(self) -> float:
        """How unlike the cylinders are, mg: standard deviation of what they get, compression counted in."""
        got = [self._torque_mg(cylinder) for cylinder in range(4)]
        mean = sum(got) / 4.0
        return sqrt(sum((part - mean) ** 2 for part in got) / 4.0)

    def _torque_mg(self, cylinder: int) -> float:
        asked = self.asked_mg - self.told[cylinder].value + self.smooth_mg[cylinder]
        return self.injectors.gives_mg(cylinder, asked) * (1.0 - self.injectors.weak[cylinder])

    def _idle_area_mm2(self, dt_s: float, cooler: bool) -> float:
        """Not air but fuel: the idle governor, and what the return valve is to do."""
        idle, heat = self.idle, self.temperatures
        idle.aim(heat.sensed_c, self.run_s, cooler)
        warm = min(1.0, max(0.0, (heat.sensed_c - 45.0) / 25.0))
        light = max(0.0, 1.0 - self.asked_mg / 22.0)
        self.plate.wanted_pct = IDLE_RETURN_PCT * warm * light if self.run_s > 20.0 else 0.0
        if self.running and self.pedal < 0.02:
            error = idle.target_rpm - self.crank.rpm
            self.governor_mg = min(16.0, max(0.5, self.governor_mg + KI_MG * error * dt_s))
            self.asked_mg = max(LEAST_MG, self.governor_mg + KP_MG * error)
        else:
            self.asked_mg = 14.0 if self.starter else max(LEAST_MG, self.pedal * FULL_MG + 4.0)
        return 0.0

    def _breathe(self, dt_s: float) -> None:
        heat = self.temperatures
        intake_k = heat.intake_c + 273.15
        self.manifold.temperature_k = intake_k + 0.25 * (heat.coolant_c - heat.intake_c)
        swept = swept_m3_s(self.crank.spec, self.crank.rpm)
        flows = self.manifold.step(dt_s, self.throttle.area_m2, self.ambient_pa, intake_k, swept)
        rpm = self.crank.rpm
        excess_pa = 2200.0 * (rpm / 800.0) ** 1.5
        density = self.ambient_pa / (AIR_R * 480.0)
        back = RETURN_M2 * self.plate.valve.open_pct / 100.0 * sqrt(2.0 * density * excess_pa)
        goal = min(0.7 * flows.outlet, back)
        self.return_kg_s = goal + (self.return_kg_s - goal) * exp(-dt_s / 0.15)
        fresh = max(0.0, flows.outlet - self.return_kg_s)
        self.inlet_kg_s = self.metered_kg_s = self.air_kg_s = fresh

    def _burn(self, dt_s: float) -> float:
        crank = self.crank
        rpm = max(crank.rpm, 60.0)
        begin = self.idle.target_rpm + 500.0
        self.cut = (self.pedal < 0.02 and crank.rpm > begin) or crank.rpm > self.top_rpm
        strokes_s = rpm / 30.0
        most_mg = self.air_kg_s * self.defects.meter_gain * 1e6 / strokes_s / SMOKE
        self.asked_mg = 0.0 if self.cut else min(self.asked_mg, most_mg)
        got = [self._torque_mg(cylinder) for cylinder in range(4)] if self.asked_mg > 0.0 else [0.0] * 4
        mean = sum(got) / 4.0
        fuel_w = mean * 1e-6 * strokes_s * HEAT_J_KG
        rough = 0.02 + 0.9 * crank.misfire**0.5 + (0.35 * self.spread_mg / mean if mean > 0.0 else 0.0)
        goal = (1.0 - crank.misfire) * fuel_w * EFFICIENCY / (rpm * RAD_S)
        firing_s = 30.0 / rpm
        goal *= 1.0 + rough * self.noise.normal() * (firing_s / dt_s) ** 0.5
        crank.torque_nm = goal + (crank.torque_nm - goal) * exp(-dt_s / (1.5 * firing_s))
        self._smooth(dt_s, got)
        rail = 28.0 + 0.028 * (rpm - 800.0) + 1.4 * self.asked_mg
        self.rail_mpa += (rail - self.rail_mpa) * dt_s / 0.2
        self.fuel_l -= mean * 1e-6 * strokes_s * dt_s / 0.835
        return fuel_w

    def _smooth(self, dt_s: float, got: list[float]) -> None:
        """At idle every cylinder is brought to the mean, within limits; the corrections add up to nothing."""
        if self.run_s < 5.0 or self.pedal > 0.02 or self.cut:
            return
        mean = sum(got) / 4.0
        for cylinder, part in enumerate(got):
            after = self.smooth_mg[cylinder] + (mean - part) * dt_s / SMOOTH_S
            self.smooth_mg[cylinder] = min(SMOOTH_MG, max(-SMOOTH_MG, after))
        shift = sum(self.smooth_mg) / 4.0
        self.smooth_mg = [part - shift for part in self.smooth_mg]

    def stop(self) -> None:
        """The engine stands."""
        super().stop()
        self.asked_mg = self.return_kg_s = 0.0
        self.rail_mpa = 0.3
