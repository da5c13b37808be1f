"""Air through a throttle: total effective flow area at idle by compressible flow, and what its change may be called.

What the flow gives is the TOTAL effective area Cd·A (plate opening, gap, bypass, deposits). It is not the leakage: one
step of an 8-bit throttle position is about 2 mm² of opening, the size of the whole effect of a cleaning. A change of
leakage is claimed only where the position of the plate is known finely enough.
"""

from __future__ import annotations

import math
from collections.abc import Callable

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
    Returns: Cd·A in mm²; parts by quantity, by the law of propagation.
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
    if inputs["manifold"][0] > 0.9 * inputs["barometer"][0]:
        template = "the manifold stands at {share} of the barometer: this engine does not throttle its idle"
        share = show(100.0 * inputs["manifold"][0] / inputs["barometer"][0], "%")
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
        "filling": filling,
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


def _in(estimate: Estimate, unit: str) -> tuple[float, float]:
    value = convert(estimate.value, estimate.unit, unit)
    return value, convert(estimate.value + estimate.u, estimate.unit, unit) - value


def _propagated(
    function: Callable[[float, float, float, float], float],
    inputs: dict[str, tuple[float, float]],
    unit: str,
    like: Estimate,
) -> Estimate:
    """Value and parts by symmetric differences of one standard uncertainty each."""
    values = [value for value, _ in inputs.values()]
    parts = dict[str, float]()
    for i, (name, (value, u)) in enumerate(inputs.items()):
        up, down = list(values), list(values)
        up[i], down[i] = value + u, value - u
        parts[name] = abs(function(up[0], up[1], up[2], up[3]) - function(down[0], down[1], down[2], down[3])) / 2.0
    result = function(values[0], values[1], values[2], values[3])
    return Estimate(result, combined(parts), unit, like.n, like.n_eff, like.window_s, parts)
