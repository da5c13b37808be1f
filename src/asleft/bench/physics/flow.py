"""Compressible flow of air through an opening, as an ideal nozzle with a discharge coefficient.

Example::

    mass_flow(12.543e-6, 101_325.0, 293.15, 30_000.0)  # kg/s, choked: about 3.0 g/s

Source: isentropic nozzle relations (any text on gas dynamics); values beside NACA-style tables in the tests.
"""

from __future__ import annotations

from math import sqrt

#: Ratio of specific heats of air and its gas constant, J/(kg K).
AIR_K = 1.4
AIR_R = 287.05


def critical_ratio(k: float = AIR_K) -> float:
    """Pressure ratio downstream/upstream at and below which the flow is choked, dimensionless."""
    return (2.0 / (k + 1.0)) ** (k / (k - 1.0))


def choked_flow_function(k: float = AIR_K) -> float:
    """Largest value of the flow function, reached at the critical ratio, dimensionless."""
    return sqrt(k) * (2.0 / (k + 1.0)) ** ((k + 1.0) / (2.0 * (k - 1.0)))


_AIR_CRITICAL = critical_ratio()
_AIR_CHOKED = choked_flow_function()
_AIR_FACTOR = 2.0 * AIR_K / (AIR_K - 1.0)


def flow_function(ratio: float, k: float = AIR_K) -> float:
    """Dimensionless flow Ψ of a pressure ratio downstream/upstream.

    Args: ratio: 0 to 1; above 1 counts as 1 (no flow backwards). k: ratio of specific heats.
    Returns: Ψ, with ṁ = Cd·A·p₀/√(R·T₀)·Ψ.
    """
    if ratio >= 1.0:
        return 0.0
    if ratio <= critical_ratio(k):
        return choked_flow_function(k)
    return sqrt(2.0 * k / (k - 1.0) * (ratio ** (2.0 / k) - ratio ** ((k + 1.0) / k)))


def air_flow_function(ratio: float) -> float:
    """`flow_function` of air, written for speed."""
    if ratio <= _AIR_CRITICAL:
        return _AIR_CHOKED
    if ratio >= 1.0:
        return 0.0
    root = ratio ** (1.0 / AIR_K)
    return sqrt(_AIR_FACTOR * (root * root - root * ratio))


def mass_flow(cda_m2: float, p0_pa: float, t0_k: float, p1_pa: float) -> float:
    """Mass flow of air through an effective area.

    Args: cda_m2: discharge coefficient times area, m². p0_pa, t0_k: upstream, Pa and K. p1_pa: downstream, Pa.
    Returns: kg/s, never negative.
    """
    return cda_m2 * p0_pa / sqrt(AIR_R * t0_k) * air_flow_function(p1_pa / p0_pa)


def effective_area(flow_kg_s: float, p0_pa: float, t0_k: float, p1_pa: float) -> float:
    """Effective area Cd·A that passes a flow, m²: the inverse of `mass_flow`.

    Raises: ZeroDivisionError: no pressure difference, so no area would do.
    """
    return flow_kg_s * sqrt(AIR_R * t0_k) / (p0_pa * air_flow_function(p1_pa / p0_pa))
