"""Idle control: how much air the engine is asked to draw so that it turns at its target speed.

A table gives the air a typical engine needs; a learned part corrects it for this engine; a proportional and an
integral part do the rest, within an authority. The learned part slowly takes over what the integral carries when the
engine idles warm. A fast part works by spark.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import exp

from .learned import Learned


@dataclass(frozen=True)
class IdleSpec:
    """Figures of an idle control.

    Attributes:
        warm_rpm: target when warm. cold_rpm: more at 30 °C and below, fading to nothing at 78 °C. start_rpm: more
        for the first half minute after a cold start. cooler_rpm: more with the air conditioning.
        warm_g_s: air of a typical warm engine at idle. cold_g_s: more at 20 °C. cooler_g_s: more with the air
        conditioning. proportional_g_s, integral_g_s: per rpm, and per rpm and second. authority_g_s: largest integral;
        reduced_g_s: the same while the module does not trust the throttle's stop.
        spark_deg: base spark at idle. spark_per_rpm: degrees per rpm of error. spark_span_deg: its authority.
    """

    warm_rpm: float = 710.0
    cold_rpm: float = 220.0
    start_rpm: float = 450.0
    cooler_rpm: float = 120.0
    warm_g_s: float = 2.15
    cold_g_s: float = 1.6
    cooler_g_s: float = 0.75
    proportional_g_s: float = 0.0020
    integral_g_s: float = 0.0011
    authority_g_s: float = 0.5
    reduced_g_s: float = 0.15
    spark_deg: float = 4.0
    spark_per_rpm: float = 0.09
    spark_span_deg: float = 9.0


class IdleControl:
    """One idle control. ``learned`` is the learned air in g/s, ``integral_g_s`` what the integral carries.

    ``lift_rpm`` is what a learn adds to the target; ``reduced``: the module does not trust the throttle's stop.
    """

    CHANGES = ("integral_g_s", "owed_g_s", "target_rpm", "spark_deg", "lift_rpm")
    __slots__ = ("integral_g_s", "learned", "lift_rpm", "owed_g_s", "reduced", "spark_deg", "spec", "target_rpm")

    def __init__(self, spec: IdleSpec, learned: Learned) -> None:
        self.spec = spec
        self.learned = learned
        self.integral_g_s = 0.0
        self.owed_g_s = 0.0
        self.reduced = False
        self.lift_rpm = 0.0
        self.target_rpm = spec.warm_rpm
        self.spark_deg = spec.spark_deg

    def aim(self, coolant_c: float, run_s: float, cooler: bool) -> float:
        """Set and return the target speed, rpm.

        Args: run_s: time since start. cooler: air conditioning works.
        """
        spec = self.spec
        cold = min(1.0, max(0.0, (78.0 - coolant_c) / 45.0))
        fresh = min(1.0, max(0.0, (50.0 - coolant_c) / 15.0))
        after_start = spec.start_rpm / (1.0 + exp((run_s - 38.0) / 3.0)) * fresh if fresh > 0.0 else 0.0
        self.target_rpm = spec.warm_rpm + spec.cold_rpm * cold + after_start + self.lift_rpm
        if cooler:
            self.target_rpm = max(self.target_rpm, spec.warm_rpm + spec.cooler_rpm)
        return self.target_rpm

    def air(self, dt_s: float, rpm: float, coolant_c: float, cooler: bool, adapting: bool) -> float:
        """One step of control towards the target of `aim`.

        Args: cooler: air conditioning works. adapting: conditions for learning hold.
        Returns: air to let in, g/s.
        """
        spec = self.spec
        error = self.target_rpm - rpm
        table = (spec.warm_g_s + (spec.cooler_g_s if cooler else 0.0)) * (0.35 + 0.65 * self.target_rpm / spec.warm_rpm)
        table += spec.cold_g_s * exp(-(coolant_c - 20.0) / 26.0)
        if abs(error) < 400.0:
            limit = spec.reduced_g_s if self.reduced else spec.authority_g_s
            self.integral_g_s = min(limit, max(-limit, self.integral_g_s + spec.integral_g_s * error * dt_s))
        if adapting:
            self.owed_g_s += self.integral_g_s * dt_s / 60.0
            if abs(self.owed_g_s) > 2e-4:
                before = self.learned.value
                self.integral_g_s -= self.learned.adapt(self.owed_g_s) - before
                self.owed_g_s = 0.0
        share = min(0.8, max(-0.1, spec.proportional_g_s * error))
        offset = min(spec.spark_span_deg, max(-spec.spark_span_deg, spec.spark_per_rpm * error))
        self.spark_deg = spec.spark_deg + offset
        return max(0.3, table + self.learned.value + self.integral_g_s + share)

    def rest(self) -> None:
        """Engine stopped: forget what was carried."""
        self.integral_g_s = 0.0
