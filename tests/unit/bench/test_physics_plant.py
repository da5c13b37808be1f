"""Parts of the plant against closed forms: throttle geometry, heat, battery, crank, manifold."""

from __future__ import annotations

from math import exp, log, pi

import pytest

from asleft.bench.physics.crank import RAD_S, Crank, EngineSpec, swept_m3_s
from asleft.bench.physics.flow import AIR_R
from asleft.bench.physics.heat import CoolingSpec, Temperatures, toward
from asleft.bench.physics.manifold import Manifold
from asleft.bench.physics.supply import Battery, BatterySpec, Supply
from asleft.bench.physics.throttle import gap_area_mm2, opening_for_area, plate_area_mm2


@pytest.mark.parametrize(("bore", "gap", "area"), [(50.0, 0.02, 3.1), (50.0, 0.04, 6.3), (50.0, 0.06, 9.4)])
def test_gap_round_the_closed_plate(bore: float, gap: float, area: float):
    """πD·gap, as the trade's table prints it."""
    assert gap_area_mm2(bore, gap) == pytest.approx(area, abs=0.05)


@pytest.mark.parametrize(("more", "area"), [(0.5, 2.3), (1.0, 4.7), (2.0, 10.4), (3.0, 16.8)])
def test_plate_opening_from_five_degrees(more: float, area: float):
    """D = 60 mm, closed at 5°: the trade's table."""
    assert plate_area_mm2(60.0, 5.0, 5.0 + more) == pytest.approx(area, abs=0.1)
    assert opening_for_area(60.0, 5.0, plate_area_mm2(60.0, 5.0, 5.0 + more)) == pytest.approx(more, abs=1e-6)


def test_full_opening_is_the_whole_bore():
    assert plate_area_mm2(60.0, 5.0, 90.0) == pytest.approx(0.25 * pi * 3600.0)
    assert plate_area_mm2(60.0, 5.0, 4.0) == 0.0


def test_warm_up_is_first_order():
    """Below the thermostat, constant heat: T = T∞ − (T∞ − T₀)·exp(−t·UA/C), whatever the step."""
    spec = CoolingSpec()
    for dt_s in (0.02, 0.5, 5.0):
        heat = Temperatures(spec, 20.0)
        for _ in range(round(300.0 / dt_s)):
            heat.run(dt_s, 600.0, 2.0, 0.0)
        end = 20.0 + 600.0 / spec.skin_w_k
        assert heat.coolant_c == pytest.approx(
            end + (20.0 - end) * exp(-300.0 * spec.skin_w_k / spec.capacity_j_k), abs=1e-6
        )


def test_one_long_rest_equals_many_short_ones_for_the_coolant():
    """Cooling with the engine off is exact, so a soak of hours is one step."""
    one, many = Temperatures(CoolingSpec(), 15.0), Temperatures(CoolingSpec(), 15.0)
    one.coolant_c = many.coolant_c = 90.0
    one.rest(7200.0)
    for _ in range(7200):
        many.rest(1.0)
    assert one.coolant_c == pytest.approx(many.coolant_c, abs=1e-6)
    assert one.intake_c == pytest.approx(many.intake_c, abs=0.3)
    assert toward(90.0, 15.0, 10.0, 10.0) == pytest.approx(15.0 + 75.0 / 2.718281828, abs=1e-6)


def test_fan_switches_with_hysteresis():
    heat = Temperatures(CoolingSpec(), 20.0)
    heat.coolant_c = 99.0
    heat.run(0.1, 0.0, 2.0, 0.0)
    assert heat.fan
    heat.coolant_c = 94.0
    heat.run(0.1, 0.0, 2.0, 0.0)
    assert heat.fan
    heat.coolant_c = 91.0
    heat.run(0.1, 0.0, 2.0, 0.0)
    assert not heat.fan


def test_battery_discharge_in_closed_form():
    """Constant current: ohmic drop at once, polarisation as an RC, open circuit falling with the charge taken."""
    spec = BatterySpec()
    battery = Battery(spec, 0.9)
    for _ in range(600):
        battery.step(1.0, 20.0)
    charge = 0.9 - 20.0 * 600.0 / (3600.0 * spec.capacity_ah)
    slow = spec.slow_ohm * 20.0 * (1.0 - exp(-600.0 / spec.slow_s))
    expected = spec.empty_v + (spec.full_v - spec.empty_v) * charge - slow - spec.inner_ohm * 20.0
    assert battery.terminal_v(20.0) == pytest.approx(expected, abs=1e-9)


def test_battery_recovers_with_its_time_constant():
    spec = BatterySpec()
    battery = Battery(spec, 0.9)
    battery.step(1e4, 5.0)
    before = battery.slow_v
    battery.step(spec.slow_s * log(2.0), 0.0)
    assert battery.slow_v == pytest.approx(before / 2.0)


@pytest.mark.parametrize(("load", "volts"), [(10.0, 13.6), (30.0, 13.6)])
def test_charger_holds_its_voltage_below_its_limit(load: float, volts: float):
    supply = Supply(Battery(BatterySpec(), 0.8))
    supply.load_a, supply.charger_v, supply.charger_a = load, volts, 60.0
    supply.rest(600.0)
    assert supply.volts == pytest.approx(volts, abs=0.02)


def test_charger_at_its_limit_lets_the_voltage_sag():
    supply = Supply(Battery(BatterySpec(), 0.8))
    supply.load_a, supply.charger_v, supply.charger_a = 60.0, 13.6, 20.0
    supply.rest(60.0)
    assert supply.volts < 12.5


def test_without_a_battery_connected_there_is_no_voltage():
    supply = Supply(Battery(BatterySpec(), 0.8))
    supply.connected = False
    supply.rest(10.0)
    assert supply.volts == 0.0


def test_crank_obeys_torque_over_inertia():
    crank = Crank(EngineSpec())
    crank.rpm, crank.torque_nm = 1000.0, 20.0
    crank.turn(0.1, 12.0, 0.0)
    assert crank.rpm == pytest.approx(1000.0 + 8.0 / crank.spec.inertia_kg_m2 * 0.1 / RAD_S)


@pytest.mark.parametrize(
    ("litre", "rpm", "kpa", "celsius", "ve", "g_s"),
    [(1.5, 750, 35, 40, 0.8, 2.92), (2.0, 750, 30, 40, 0.8, 3.34), (2.0, 800, 35, 30, 0.75, 4.02)],
)
def test_speed_density(litre: float, rpm: float, kpa: float, celsius: float, ve: float, g_s: float):
    """Speed-density figures of checks, section 6, from the manifold's outflow at a held pressure."""
    swept = ve * litre * 1e-3 * rpm / 120.0
    manifold = Manifold(1.0, kpa * 1e3, celsius + 273.15)  # so large that its pressure stays
    assert manifold.step(1e-3, 0.0, 101e3, 293.0, swept).outlet * 1e3 == pytest.approx(g_s, abs=0.01)


def test_our_engine_breathes_as_assumed():
    spec = EngineSpec()
    assert swept_m3_s(spec, 700.0) == pytest.approx(0.8 * spec.swept_m3 * 700.0 / 120.0, rel=0.04)


def test_manifold_filling_is_an_exact_exponential_while_choked():
    """Choked inflow, steady drawing: pressure goes to its end value with τ = V/(VE·V̇)."""
    manifold = Manifold(2.4e-3, 45e3, 300.0)
    swept, area, p0 = 8e-3, 9e-6, 101e3
    inlet = area * p0 * 0.684731 / (AIR_R * 300.0) ** 0.5
    end = inlet * AIR_R * 300.0 / swept
    manifold.step(0.7, area, p0, 300.0, swept)
    assert manifold.pressure_pa == pytest.approx(end + (45e3 - end) * exp(-0.7 * swept / 2.4e-3), rel=1e-6)


def test_manifold_fills_to_the_outside_when_the_engine_stands():
    manifold = Manifold(2.4e-3, 30e3, 300.0)
    for _ in range(200):
        manifold.step(0.02, 9e-6, 101e3, 300.0, 0.0)
    assert manifold.pressure_pa == pytest.approx(101e3, rel=1e-3)
