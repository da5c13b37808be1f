"""Balances of mass and charge, and independence of how often somebody looks, for any numbers."""

from __future__ import annotations

import json
from math import exp

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from asleft.bench.cars.petrol_sizes import build_powertrain, learnt
from asleft.bench.memory import Memory
from asleft.bench.physics.crank import RAD_S, Crank, EngineSpec
from asleft.bench.physics.flow import air_flow_function, effective_area, flow_function, mass_flow
from asleft.bench.physics.heat import CoolingSpec, Temperatures
from asleft.bench.physics.manifold import Manifold
from asleft.bench.physics.noise import Noise
from asleft.bench.physics.powertrain import Powertrain
from asleft.bench.physics.state import restore_part, save_part
from asleft.bench.physics.supply import Battery, BatterySpec, Supply
from asleft.bench.physics.throttle import opening_for_area, plate_area_mm2


@given(
    st.lists(st.tuples(st.floats(0.0, 2e-3), st.floats(0.0, 0.08), st.floats(5e-4, 0.1)), min_size=1, max_size=40),
    st.floats(10e3, 101e3),
)
def test_air_mass_is_conserved(steps: list[tuple[float, float, float]], start_pa: float):
    """What came in less what went out is what the manifold gained, and its pressure stays between 0 and outside."""
    manifold = Manifold(2.4e-3, start_pa, 305.0)
    before, gained = manifold.mass_kg, 0.0
    for area, swept, dt_s in steps:
        flows = manifold.step(dt_s, area, 101e3, 295.0, swept)
        gained += (flows.inlet - flows.outlet) * dt_s
        assert flows.inlet >= -1e-9
        assert flows.outlet >= -1e-9
        assert 0.0 <= manifold.pressure_pa <= 101e3 * 1.0001
    assert manifold.mass_kg - before == pytest.approx(gained, abs=1e-9)


@given(st.floats(1e-7, 1e-3), st.floats(60e3, 110e3), st.floats(240.0, 340.0), st.floats(0.01, 0.999))
def test_area_and_flow_are_inverse(area: float, p0: float, t0: float, ratio: float):
    assert effective_area(mass_flow(area, p0, t0, ratio * p0), p0, t0, ratio * p0) == pytest.approx(area, rel=1e-9)
    assert air_flow_function(ratio) == pytest.approx(flow_function(ratio), abs=1e-12)


@given(st.floats(40.0, 80.0), st.floats(2.0, 9.0), st.floats(0.0, 60.0))
def test_plate_area_and_opening_are_inverse(bore: float, seal: float, opening: float):
    area = plate_area_mm2(bore, seal, seal + opening)
    assert opening_for_area(bore, seal, area) == pytest.approx(opening, abs=1e-4)


@given(st.lists(st.tuples(st.floats(0.1, 600.0), st.floats(-20.0, 40.0)), min_size=1, max_size=20))
def test_charge_is_conserved(steps: list[tuple[float, float]]):
    battery = Battery(BatterySpec(capacity_ah=1000.0), 0.5)
    taken = 0.0
    for dt_s, current in steps:
        battery.step(dt_s, current)
        taken += dt_s * current
    assert 0.5 - battery.charge == pytest.approx(taken / 3.6e6, abs=1e-9)


@given(st.floats(0.0, 90.0), st.floats(0.0, 80.0), st.floats(0.0, 80.0), st.floats(0.4, 1.0))
def test_currents_add_up(load: float, alternator: float, charger: float, charge: float):
    """Voltage at the posts is the battery's own at the current that load less sources leave for it."""
    supply = Supply(Battery(BatterySpec(), charge))
    supply.load_a, supply.charger_a = load, charger
    supply.charger_v = 13.6 if charger else 0.0
    open_v, slow = supply.battery.open_v, supply.battery.slow_v
    before = supply.battery.charge
    supply.step(0.1, 14.1, alternator)
    current = (open_v - slow - supply.volts) / supply.battery.spec.inner_ohm
    assert supply.alternator_a <= alternator + 1e-9
    assert load - current <= alternator + charger + 1e-6
    moved = (before - supply.battery.charge) * 3600.0 * supply.battery.spec.capacity_ah
    if supply.battery.charge < 1.0:
        assert moved == pytest.approx(current * 0.1, abs=1e-6)


def _powertrain(seed: int) -> Powertrain:
    return build_powertrain(seed, learnt(Memory()), 20.0)


@settings(max_examples=8)
@given(st.integers(0, 1000), st.lists(st.floats(0.005, 1.3), min_size=1, max_size=12))
def test_looking_often_changes_nothing(seed: int, looks: list[float]):
    """The same acts give the same car however often its physics is advanced in between."""
    one, many = _powertrain(seed), _powertrain(seed)
    for train in (one, many):
        train.key(on=True)
        train.advance_to(2.0)
        train.start()
    end = 2.0 + sum(looks)
    moment = 2.0
    for look in looks:
        moment += look
        many.advance_to(moment)
    one.advance_to(moment)
    assert moment == pytest.approx(end)
    assert save_part(one) == save_part(many)


@settings(max_examples=5)
@given(st.integers(0, 1000))
def test_a_saved_powertrain_goes_on_the_same(seed: int):
    """Saved as JSON text and restored into a new one, both go the same way to the last digit."""
    memory, fresh = Memory(), Memory()
    one, other = build_powertrain(seed, learnt(memory), 20.0), build_powertrain(seed, learnt(fresh), 20.0)
    one.key(on=True)
    one.advance_to(2.0)
    one.start()
    one.advance_to(9.0)
    fresh.restore(json.loads(json.dumps(memory.save())))
    restore_part(other, json.loads(json.dumps(save_part(one))))
    for train in (one, other):
        train.advance_to(20.0)
    assert save_part(one) == save_part(other)


@given(st.integers(0, 2**32 - 1), st.integers(0, 1300))
def test_a_saved_noise_goes_on_the_same(seed: int, drawn: int):
    noise, other = Noise(seed, "a"), Noise(seed, "b")
    for _ in range(drawn):
        noise.normal()
    noise.between(0.0, 1.0)
    other.restore(json.loads(json.dumps(noise.save())))
    assert [noise.normal() for _ in range(600)] == [other.normal() for _ in range(600)]
    assert noise.whole(0, 99) == other.whole(0, 99)


@given(st.lists(st.tuples(st.floats(0.05, 5.0), st.floats(0.0, 20e3)), min_size=1, max_size=30), st.floats(-10.0, 75.0))
def test_heat_is_conserved(steps: list[tuple[float, float]], start_c: float):
    """Below the thermostat: heat in less what the skin lost is what the coolant holds more.

    Loss over a step follows from the mean excess temperature, which for a first-order body is
    (end value) + (excess at start less end value)·(1 − e^(−t/τ))·τ/t.
    """
    spec = CoolingSpec(opens_c=400.0, fan_on_c=1e6)
    heat = Temperatures(spec, 20.0)
    heat.coolant_c = start_c
    tau = spec.capacity_j_k / spec.skin_w_k
    given_j = lost_j = 0.0
    for dt_s, watts in steps:
        excess, end = heat.coolant_c - 20.0, watts / spec.skin_w_k
        heat.run(dt_s, watts, 1.0, 0.0)
        given_j += watts * dt_s
        lost_j += spec.skin_w_k * (end * dt_s + (excess - end) * tau * (1.0 - exp(-dt_s / tau)))
    held_j = spec.capacity_j_k * (heat.coolant_c - start_c)
    assert held_j == pytest.approx(given_j - lost_j, abs=1e-3 + 1e-6 * given_j)


@given(st.floats(300.0, 5000.0), st.lists(st.floats(-60.0, 90.0), min_size=1, max_size=60))
def test_work_becomes_speed_of_the_crank(rpm: float, torques: list[float]):
    """Net torque times the mean speed of each step adds up to the gain of kinetic energy."""
    crank = Crank(EngineSpec())
    crank.rpm = rpm
    work_j = 0.0
    for torque in torques:
        before, crank.torque_nm = crank.rpm, torque
        crank.turn(0.01, 0.0, 0.0)
        if crank.rpm == 0.0:
            return
        work_j += torque * 0.5 * (before + crank.rpm) * RAD_S * 0.01
    gained_j = 0.5 * crank.spec.inertia_kg_m2 * ((crank.rpm * RAD_S) ** 2 - (rpm * RAD_S) ** 2)
    assert gained_j == pytest.approx(work_j, abs=1e-6 + 1e-9 * abs(work_j))


@given(st.floats(0.5, 6.0), st.floats(0.85, 1.3))
def test_no_more_work_than_fuel(air_g_s: float, lambda_: float):
    """What combustion gives is never more than its efficiency's share of the fuel, and fuel follows the air."""
    crank = Crank(EngineSpec(roughness=0.0))
    crank.rpm = 900.0
    for _ in range(200):
        fuel_w = crank.burn(0.02, air_g_s * 1e-3, lambda_, 10.0, 0.0)
    assert crank.torque_nm * 900.0 * RAD_S <= crank.spec.efficiency * fuel_w * (1.0 + 1e-9)
    assert fuel_w == pytest.approx(air_g_s * 1e-3 / (14.7 * max(lambda_, 1.0)) * 43e6)
