"""A petrol engine with its control, cooling and supply, put together: one step function of time.

Time runs on a fixed grid of `STEP_S` while anything turns or moves, and in one exact jump while nothing does, so that
what comes out does not depend on how often somebody looks::

    powertrain = Powertrain(parts)
    powertrain.key("on")
    powertrain.advance_to(3.0)
    powertrain.start()
"""

from __future__ import annotations

from math import sqrt

from .crank import RAD_S, friction_nm, pumping_nm, swept_m3_s
from .flow import AIR_R, choked_flow_function
from .parts import BodyT, ControlT
from .powertrain_state import PowertrainState

#: Grid of time while something moves, s.
STEP_S = 0.02

#: Temperatures are advanced this often while the engine runs, s.
HEAT_S = 0.2

_CHOKED = choked_flow_function()
_KELVIN = 273.15

#: Where the engine module cuts the fuel on overrun with the pedal released, 1/min, from and down to.
OVERRUN_RPM = (1700.0, 1250.0)


class Powertrain(PowertrainState[BodyT, ControlT]):
    """The engine and what belongs to it, in time: `advance_to` is its one step function."""

    # -- time ------------------------------------------------------------------------------------------------------

    def advance_to(self, t_s: float) -> None:
        """Bring everything to ``t_s``; never backwards."""
        while self.now_s < t_s - 1e-9:
            if self.quiet:
                self._rest(t_s - self.now_s)
                self.now_s = t_s
            else:
                self._step(STEP_S)
                self.now_s += STEP_S

    def _rest(self, dt_s: float) -> None:
        self.temperatures.rest(dt_s)
        self.supply.rest(dt_s)
        self.manifold.fill(self.ambient_pa, self.temperatures.intake_c + _KELVIN)
        self.metered_kg_s = self.inlet_kg_s = self.air_kg_s = 0.0

    def _step(self, dt_s: float) -> None:
        crank = self.crank
        heat = self.temperatures
        turning = self.running or self.starter
        cooler = self.cooler_on
        if self.key_on:
            self.plate.step(dt_s, turning, self.pedal, self._idle_area_mm2(dt_s, cooler) if turning else 0.0)
        self._breathe(dt_s)
        if crank.rpm > 0.0 or turning:
            self._turn(dt_s, cooler)
        else:
            heat.rest(dt_s)
            self.drag(0.0, dt_s)
        self.set_load()
        limit = min(self._alternator_a, 0.055 * crank.rpm) if self.running and not self.defects.no_alternator else 0.0
        self.supply.step(dt_s, self.alternator_v - 0.013 * (heat.bonnet_c - 20.0), limit)

    def _idle_area_mm2(self, dt_s: float, cooler: bool) -> float:
        heat = self.temperatures
        idle = self.idle
        run_s = self.run_s
        coolant = heat.sensed_c
        idle.aim(coolant, run_s, cooler)
        if not self.running:
            air = idle.spec.warm_g_s * 1.3 + idle.spec.cold_g_s * max(0.0, 60.0 - coolant) / 25.0
        else:
            idle.reduced = bool(self.plate.stop_wrong)
            settled = coolant > 75.0 and run_s > 40.0 and self.pedal < 0.02 and self.fuel.closed
            adapting = settled and self.adapt_allowed and not idle.reduced
            air = idle.air(dt_s, self.crank.rpm, coolant, cooler, adapting)
        root = sqrt(AIR_R * (heat.intake_c + _KELVIN))
        return air * 1e3 * root / (self.ambient_pa * _CHOKED)

    def _breathe(self, dt_s: float) -> None:
        heat = self.temperatures
        plate = self.throttle.area_m2 if self.throttle.fitted else 1.5e-3
        purge = self.purge_m2 * self.purge
        total = plate + self.defects.leak_m2 + purge
        intake_k = heat.intake_c + _KELVIN
        self.manifold.temperature_k = intake_k + 0.18 * (heat.coolant_c - heat.intake_c)
        swept = swept_m3_s(self.crank.spec, self.crank.rpm)
        flows = self.manifold.step(dt_s, total, self.ambient_pa, intake_k, swept)
        self.inlet_kg_s = flows.inlet
        self.air_kg_s = flows.outlet
        self.metered_kg_s = flows.inlet * plate / total
        self._shares = plate / total, purge / total

    def _turn(self, dt_s: float, cooler: bool) -> None:
        crank = self.crank
        rpm = crank.rpm
        fuel_w = self._burn(dt_s) if self.running else crank.burn(dt_s, 0.0, 1.0, 0.0, 0.0)
        omega = max(rpm, 150.0) * RAD_S
        friction = friction_nm(crank.spec, rpm, self.temperatures.coolant_c)
        taken = friction + pumping_nm(crank.spec, self.ambient_pa, self.manifold.pressure_pa)
        taken += self.supply.alternator_w / omega + (9.0 if cooler else 0.0) + self.drag(rpm, dt_s)
        starter = max(0.0, 95.0 * (1.0 - rpm / 380.0)) * self.supply.volts / 11.0 if self.starter else 0.0
        crank.turn(dt_s, taken if rpm > 1.0 or starter else 0.0, starter)
        self._warm(dt_s, 0.30 * fuel_w + friction * rpm * RAD_S)
        if self.starter:
            self._cranking(dt_s)
        elif self.running:
            self.run_s += dt_s
            self.cooler_s = (self.cooler_s + dt_s) % 40.0
            if crank.rpm < 180.0:
                self.stop()
        elif crank.rpm < 30.0:
            crank.rpm = 0.0

    def _burn(self, dt_s: float) -> float:
        heat, fuel, crank = self.temperatures, self.fuel, self.crank
        released = self.pedal < 0.02
        begin, end = OVERRUN_RPM
        above = self.idle.target_rpm - self.idle.spec.warm_rpm
        overrun = released and self.run_s > 5.0 and crank.rpm > (end if self.cut else begin) + above
        self.cut = overrun or crank.rpm > self.top_rpm
        if self.cut:
            return crank.burn(dt_s, 0.0, 1.0, 0.0, 0.0)
        metered, purge = self._shares
        share = min(1.6, max(0.3, metered * self.defects.meter_gain))
        fuel.step(dt_s, share, purge * self.vapour * 2.0, self.run_s, heat.sensed_c, noise=self.noise.normal())
        wanted = 0.28 if fuel.closed and heat.sensed_c > 78.0 and self.run_s > 90.0 else 0.0
        wanted = max(wanted, self.defects.purge_stuck)
        if abs(wanted - self.purge) > 1e-4:
            self.purge += (wanted - self.purge) * dt_s / 30.0
        if released:
            cold = 1.0 if heat.catalyst_c < 150.0 else max(0.0, (300.0 - heat.catalyst_c) / 150.0)
            spark = self.idle.spark_deg - 3.0 * cold
        else:
            spark = 22.0
        fuel_w = crank.burn(dt_s, self.air_kg_s, fuel.lambda_, spark, self.noise.normal())
        self.fuel_l -= fuel_w * dt_s / 43.0e6 / 0.745
        return fuel_w

    def _warm(self, dt_s: float, heat_w: float) -> None:
        """Gather heat and exhaust and pass them on ten steps at a time: temperatures are slow."""
        self.heat_s += dt_s
        self.heat_j += heat_w * dt_s
        self.exhaust_g += self.air_kg_s * 1070.0 * dt_s
        if self.heat_s >= HEAT_S - 1e-9:
            span = self.heat_s
            self.temperatures.run(span, self.heat_j / span, self.exhaust_g / span, self.wind_m_s)
            self.heat_s = self.heat_j = self.exhaust_g = 0.0

    def _cranking(self, dt_s: float) -> None:
        self.crank_s += dt_s
        if self.crank_s > 0.6 and self.crank.rpm > 150.0 and self.throttle.fitted and not self.running:
            self.running = True
            self.run_s = 0.0
            self.starts += 1
        if (self.running and self.crank.rpm > 450.0) or self.crank_s > 5.0:
            self.starter = False
            self.running = self.running and self.crank.rpm > 300.0
