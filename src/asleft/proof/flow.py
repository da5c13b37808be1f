"""Air through a throttle: total effective flow area at idle by compressible flow, and what its change may be called.

What the flow gives is the TOTAL effective area Cd·A (plate opening, gap, bypass, deposits). It is not the leakage: one
step of an 8-bit throttle position is about 2 mm² of opening, the size of the whole effect of a cleaning. A change of
leakage is claimed only where the position of the plate is known finely enough.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import NamedTuple

from asleft.model.message import say
from asleft.model.numbers import show
from asleft.model.units import convert
from asleft.model.verdict import Reason

from .estimate import Estimate, NoEstimate, combined

#: Specific gas constant of dry air, J/(kg K). Source: R 8.31446 / 28.9647 g/mol.
AIR = 287.05
#: Ratio of specific heats of air at intake temperatures.
KAPPA = 1.4
#: Share of plate position uncertainty in a change at which leakage is still claimed. Our own choice.
CLAIMED_SHARE = 0.25


def flow_function(ratio: float, kappa: float = KAPPA) -> float:
    """Dimensionless flow Ψ of an isentropic nozzle for the pressure ratio behind to before; constant when choked.

    Source: compressible flow of an ideal gas, textbook; checked against tables and an independent library.
    """
    critical = critical_ratio(kappa)
    if ratio <= critical:
        return math.sqrt(kappa) * (2.0 / (kappa + 1.0)) ** ((kappa + 1.0) / (2.0 * (kappa - 1.0)))
    if ratio >= 1.0:
        return 0.0
    return math.sqrt(2.0 * kappa / (kappa - 1.0) * (ratio ** (2.0 / kappa) - ratio ** ((kappa + 1.0) / kappa)))


def critical_ratio(kappa: float = KAPPA) -> float:
    """Pressure ratio at and below which the flow is choked: 0.528 for air."""
    return float((2.0 / (kappa + 1.0)) ** (kappa / (kappa - 1.0)))


def effective_area_mm2(flow_kg_s: float, p0_pa: float, t0_k: float, p_pa: float, kappa: float = KAPPA) -> float:
    """Cd·A that passes this flow, mm²; infinite without a pressure difference."""
    psi = flow_function(p_pa / p0_pa, kappa)
    return math.inf if psi == 0.0 else 1e6 * flow_kg_s * math.sqrt(AIR * t0_k) / (p0_pa * psi)


def speed_density_kg_s(filling: float, p_pa: float, displacement_m3: float, rpm: float, t_k: float) -> float:
    """Air that a four-stroke engine draws: filling × pressure × swept volume × speed / (120 R T), kg/s."""
    return filling * p_pa * displacement_m3 * rpm / (120.0 * AIR * t_k)


def flow_area(flow: Estimate, barometer: Estimate, intake: Estimate, manifold: Estimate) -> Estimate | NoEstimate:
    """Total effective flow area from a measured air flow.

    Args: flow in g/s, barometer and manifold in kPa, intake temperature in °C (or other units of the same quantities),
        each the mean of one steady window.
    Returns: Cd·A in mm²; parts by quantity for what changes from reading to reading, and *sensors* for what is common
        to all pictures taken with these sensors on this car (their own errors, the filling).
    Source: JCGM 100:2008, 5.1.2.
    """

    def area(m: float, p0: float, t0: float, p: float) -> float:
        return effective_area_mm2(m, p0, t0, p)

    inputs = {
        "flow": _in(flow, "kg/s"),
        "barometer": _in(barometer, "Pa"),
        "intake temperature": _in(intake, "K"),
        "manifold": _in(manifold, "Pa"),
    }
    if inputs["manifold"].value > 0.9 * inputs["barometer"].value:
        template = "the manifold stands at {share} of the barometer: this engine does not throttle its idle"
        share = show(100.0 * inputs["manifold"].value / inputs["barometer"].value, "%")
        return NoEstimate((Reason.ENVIRONMENT,), say("proof.unthrottled", template, share=share), flow.n)
    return _propagated(area, inputs, "mm²", flow)


def speed_density(
    filling: tuple[float, float], manifold: Estimate, displacement_l: float, speed: Estimate, intake: Estimate
) -> Estimate:
    """Air flow from manifold pressure, speed and temperature, g/s.

    Args: filling: volumetric efficiency and its standard uncertainty; it is common to two pictures of one car.
    """

    def flow(eta: float, p: float, rpm: float, t: float) -> float:
        return 1e3 * speed_density_kg_s(eta, p, displacement_l * 1e-3, rpm, t)

    inputs = {
        "filling": _Input(filling[0], 0.0, filling[1]),
        "manifold": _in(manifold, "Pa"),
        "speed": _in(speed, "rpm"),
        "intake temperature": _in(intake, "K"),
    }
    return _propagated(flow, inputs, "g/s", speed)


def leakage_change(
    change: Estimate, plate_step: float, plate_before: float, plate_after: float, area_per_unit: float
) -> Estimate | NoEstimate:
    """Change of leakage from the change of total area at one plate position, or why it is not claimed.

    Args:
        change: of total effective area, mm², systematic parts taken out.
        plate_step: resolution of the plate's position, in its unit.
        plate_before, plate_after: positions read.
        area_per_unit: effective area for one unit of position, mm².
    Returns: the change with the plate's part: two roundings of one step, q/√6.
    """
    if abs(plate_after - plate_before) > 0.5 * plate_step:
        message = say("proof.plate-moved", "the plate stood elsewhere: the change is that of the opening as well")
        return NoEstimate((Reason.WINDOW,), message, change.n)
    plate = plate_step / math.sqrt(6.0) * area_per_unit
    if 2.0 * plate > CLAIMED_SHARE * abs(change.value):
        template = (
            "one step of the plate's position is {step}: leakage is not told apart from it, the total area stands"
        )
        message = say("proof.plate-coarse", template, step=show(plate_step * area_per_unit, "mm²"))
        return NoEstimate((Reason.RESOLUTION,), message, change.n)
    parts = {**change.parts, "plate": plate}
    return Estimate(change.value, combined(parts), "mm²", change.n, change.n_eff, change.window_s, parts)


#: Parts that are common to two pictures of one car with the same sensors.
_COMMON = frozenset({"accuracy", "sensors", "filling", "displacement"})


class _Input(NamedTuple):
    """An input with its standard uncertainty, apart: from reading to reading, and common to all pictures."""

    value: float
    u: float
    u_common: float = 0.0


def _in(estimate: Estimate, unit: str) -> _Input:
    value = convert(estimate.value, estimate.unit, unit)
    factor = convert(estimate.value + 1.0, estimate.unit, unit) - value
    common = combined({n: p for n, p in estimate.parts.items() if n in _COMMON})
    own = math.sqrt(max(0.0, estimate.u * estimate.u - common * common))
    return _Input(value, own * factor, common * factor)


def _propagated(
    function: Callable[[float, float, float, float], float],
    inputs: dict[str, _Input],
    unit: str,
    like: Estimate,
) -> Estimate:
    """Value and parts by symmetric differences of one standard uncertainty each."""
    values = [one.value for one in inputs.values()]

    def moved(i: int, u: float) -> float:
        up, down = list(values), list(values)
        up[i], down[i] = values[i] + u, values[i] - u
        return abs(function(up[0], up[1], up[2], up[3]) - function(down[0], down[1], down[2], down[3])) / 2.0

    parts, common = dict[str, float](), list[float]()
    for i, (name, one) in enumerate(inputs.items()):
        parts[name] = moved(i, one.u)
        if one.u == 0.0:  # a constant of this car, under its own name
            parts[name] = moved(i, one.u_common)
        else:
            common.append(moved(i, one.u_common))
    parts["sensors"] = math.hypot(*common)
    result = function(values[0], values[1], values[2], values[3])
    return Estimate(result, combined(parts), unit, like.n, like.n_eff, like.window_s, parts)
