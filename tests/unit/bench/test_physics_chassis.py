"""Chassis physics against closed forms: bicycle model, slope and acceleration, sensors, drive."""

from __future__ import annotations

from math import atan, degrees, radians, sqrt
from statistics import fmean, pstdev

import numpy as np
import pytest
from scipy.linalg import expm

from asleft.bench.physics.bicycle import Bicycle, BicycleSpec, steady_yaw_rate
from asleft.bench.physics.drive import Drive, DriveSpec
from asleft.bench.physics.floor import Stand
from asleft.bench.physics.sensor import Sensor, SensorSpec


@pytest.mark.parametrize("speed", [5.0, 15.0, 30.0])
@pytest.mark.parametrize("hand", [-60.0, 10.0, 90.0])
def test_steady_cornering(speed: float, hand: float):
    """After seconds at a held angle: yaw rate v·δ/(L + K·v²), side acceleration v·r."""
    spec = BicycleSpec()
    car = Bicycle(spec)
    for _ in range(500):
        car.step(0.02, speed, hand)
    road = radians(hand) / spec.ratio
    gain = speed / (spec.wheelbase_m + spec.understeer * speed * speed)
    assert car.yaw_rad_s == pytest.approx(gain * road, rel=1e-6)
    assert car.side_accel == pytest.approx(speed * gain * road, rel=1e-5)


def test_steps_follow_the_exact_solution():
    """A step of the hand wheel at 20 m/s beside the matrix exponential of the same linear equations."""
    spec, v, hand = BicycleSpec(), 20.0, 30.0
    cf, cr, a, b, m, i = (
        spec.front_n_rad, spec.rear_n_rad, spec.front_m, spec.rear_m, spec.mass_kg, spec.inertia_kg_m2,
    )  # fmt: skip
    system = np.array(
        [
            [-(cf + cr) / (m * v), (b * cr - a * cf) / (m * v) - v],
            [(b * cr - a * cf) / (i * v), -(a * a * cf + b * b * cr) / (i * v)],
        ]
    )
    push = np.array([cf / m, a * cf / i]) * radians(hand) / spec.ratio
    car = Bicycle(spec)
    for tick in range(1, 101):
        car.step(0.01, v, hand)
        if tick in {10, 30, 100}:
            exact = np.linalg.solve(system, (expm(system * tick * 0.01) - np.eye(2)) @ push)
            assert car.side_m_s == pytest.approx(exact[0], abs=2e-4)
            assert car.yaw_rad_s == pytest.approx(exact[1], abs=2e-4)


def test_the_car_understeers_and_is_kinematic_at_walking_pace():
    spec = BicycleSpec()
    assert spec.understeer > 0.0
    radius = spec.wheelbase_m / radians(100.0 / spec.ratio)
    assert steady_yaw_rate(spec, 1.0, 100.0) == pytest.approx(1.0 / radius, rel=0.01)


@pytest.mark.parametrize(("kmh", "expected"), [(30.0, 0.19), (50.0, 0.29), (80.0, 0.38)])
def test_one_degree_of_hand_wheel(kmh: float, expected: float):
    """Trade's table: i 15, L 2.7 m, K 0.0025 rad/(m/s²): °/s of yaw for one degree of hand wheel."""
    length, gradient = 2.7, 0.0025
    rear_n_rad = 1e7
    mass = 1500.0
    front_n_rad = mass * 0.5 / (gradient + mass * 0.5 / rear_n_rad)  # K = m/L·(b/Cf − a/Cr) with a = b = L/2
    spec = BicycleSpec(
        mass_kg=mass, front_m=1.35, rear_m=1.35, front_n_rad=front_n_rad, rear_n_rad=rear_n_rad, ratio=15.0
    )
    assert spec.wheelbase_m == length
    assert spec.understeer == pytest.approx(gradient, rel=1e-6)
    assert degrees(steady_yaw_rate(spec, kmh / 3.6, 1.0)) == pytest.approx(expected, abs=0.005)


@pytest.mark.parametrize(
    ("slope", "expected"), [(0.25, 0.043), (0.5, 0.086), (1.0, 0.171), (1.5, 0.257), (2.0, 0.342), (3.0, 0.513)]
)
def test_slope_shows_as_acceleration(slope: float, expected: float):
    """9.81·sin(slope): the trade's table; turned round it changes its sign."""
    stand = Stand(slope_deg=slope, uphill_deg=90.0)
    assert stand.across_m_s2 == pytest.approx(expected, abs=6e-4)
    assert stand.along_m_s2 == pytest.approx(0.0, abs=1e-12)
    stand.heading_deg = 180.0
    assert stand.across_m_s2 == pytest.approx(-expected, abs=6e-4)


def test_a_sensor_has_the_errors_it_was_given():
    """Mean, spread, resolution and drift of many readings."""
    sensor = Sensor(SensorSpec(offset=1.2, drift_per_k=0.01, noise=0.06, slope=1.02, resolution=0.05), 1, "yaw")
    values = [sensor.read(10.0, 35.0) for _ in range(4000)]
    assert fmean(values) == pytest.approx(10.0 * 1.02 + 1.2 + 0.1, abs=0.005)
    assert pstdev(values) == pytest.approx(sqrt(0.06**2 + 0.05**2 / 12.0), rel=0.05)
    assert all(abs(value / 0.05 - round(value / 0.05)) < 1e-6 for value in values)


def test_the_slow_offset_wanders_within_its_spread_whatever_the_steps():
    spreads: list[float] = []
    for dt_s in (10.0, 300.0):
        sensor = Sensor(SensorSpec(wander=0.2, wander_s=100.0), 2, "yaw")
        seen: list[float] = []
        for _ in range(3000):
            sensor.step(dt_s)
            seen.append(sensor.wandering)
        spreads.append(pstdev(seen))
    assert spreads == pytest.approx([0.2, 0.2], rel=0.15)


def test_coasting_obeys_rolling_resistance_and_drag():
    """From 20 m/s in N: v(t) by the closed form of m·v' = −F − k·v²."""
    spec = DriveSpec()
    drive = Drive(spec)
    drive.selector, drive.parking, drive.speed_m_s = "N", False, 20.0
    for _ in range(500):
        drive.step(700.0, 0.02)
    roll, air = spec.mass_kg * 9.81 * spec.rolling, 0.5 * 1.2 * spec.drag_m2
    root = sqrt(air / roll)
    rate = sqrt(air * roll) / spec.mass_kg
    expected = np.tan(atan(20.0 * root) - 10.0 * rate) / root
    assert drive.speed_m_s == pytest.approx(expected, rel=1e-3)


def test_brakes_stop_the_car_and_hold_it_on_a_slope():
    drive = Drive(DriveSpec())
    drive.selector, drive.parking, drive.speed_m_s, drive.brake = "D", False, 15.0, 0.5
    for _ in range(500):
        drive.step(700.0, 0.02)
    assert drive.speed_m_s == 0.0
    drive.slope_deg = 8.0
    for _ in range(100):
        drive.step(700.0, 0.02)
    assert drive.speed_m_s == 0.0
    drive.brake, drive.selector = 0.0, "N"
    for _ in range(50):
        drive.step(700.0, 0.02)
    assert drive.speed_m_s < 0.0
