"""Criteria as data: what a procedure's file says about its proof. A closed set of forms, no expressions.

Each form names the saved recordings it is computed from. The names of a key cycle's recordings are ``save/1``,
``save/2`` ...; a criterion names ``save`` and takes them all. ``form`` in the file chooses the class::

    proof:
      - form: rest-range
        id: rest
        name: Range of the rest reading over 5 key cycles
        saved: rest
        limits: {high: 1.2, unit: "%", owner: ours, source: common practice, no source}
"""

from __future__ import annotations

from typing import Annotated, Literal

import msgspec

from .criterion_common import IDLE_GATES, PERCENT_ENDS, LimitData, Seconds, Slug
from .criterion_more import (
    Change,
    ColdAgreement,
    Dip,
    LeakageChange,
    LearnedRepeat,
    LearnedRoom,
    LevelAfter,
    MeanDifference,
    Rate,
    Recovery,
    SteadyMean,
    SteeringStraight,
    SupplyRipple,
    SupplySag,
    TwoHeadingsOf,
)
from .window import Gate

__all__ = ["IDLE_GATES", "PERCENT_ENDS", "Criterion", "LimitData", "Seconds", "Slug"]


class RestRange(msgspec.Struct, frozen=True, forbid_unknown_fields=True, tag_field="form", tag="rest-range"):
    """Range of a rest reading over key cycles.

    Attributes: saved: name of the key cycles' recordings. cycles: fewest. ends: of the sensor's range.
    """

    id: Slug
    name: str
    saved: str
    limits: LimitData
    signal: str = "throttle-absolute"
    cycles: int = 5
    ends: tuple[float, float] | None = PERCENT_ENDS


class TrackingSlope(msgspec.Struct, frozen=True, forbid_unknown_fields=True, tag_field="form", tag="tracking-slope"):
    """Slope of the actual on the commanded value over a slow sweep. ``min_span``: least sweep, in the signals' unit."""

    id: Slug
    name: str
    saved: str
    limits: LimitData
    actual: str = "throttle-absolute"
    commanded: str = "throttle-commanded"
    min_span: float = 30.0
    ends: tuple[float, float] | None = None


class TrackingResidual(
    msgspec.Struct, frozen=True, forbid_unknown_fields=True, tag_field="form", tag="tracking-residual"
):
    """Standard deviation of what slope, offset and delay leave of the same sweep."""

    id: Slug
    name: str
    saved: str
    limits: LimitData
    actual: str = "throttle-absolute"
    commanded: str = "throttle-commanded"
    min_span: float = 30.0
    ends: tuple[float, float] | None = None


class IdleMean(msgspec.Struct, frozen=True, forbid_unknown_fields=True, tag_field="form", tag="idle-mean"):
    """Mean idle speed over a steady window.

    Attributes:
        seconds: length of the window.
        gates: what must hold in it.
        max_drift: largest change from the first to the last third of the window, in the limits' unit; more is not idle
            but a change.
    """

    id: Slug
    name: str
    saved: str
    limits: LimitData
    signal: str = "engine-speed"
    seconds: Seconds = 30.0
    gates: tuple[Gate, ...] = IDLE_GATES
    max_drift: float = 30.0


class IdleSpread(msgspec.Struct, frozen=True, forbid_unknown_fields=True, tag_field="form", tag="idle-spread"):
    """Standard deviation of idle speed over a steady window; fields as for the mean."""

    id: Slug
    name: str
    saved: str
    limits: LimitData
    signal: str = "engine-speed"
    seconds: Seconds = 30.0
    gates: tuple[Gate, ...] = IDLE_GATES
    max_drift: float = 30.0


class TrimSum(msgspec.Struct, frozen=True, forbid_unknown_fields=True, tag_field="form", tag="trim-sum"):
    """Mean of short and long term fuel trim together over a steady window."""

    id: Slug
    name: str
    saved: str
    limits: LimitData
    short: str = "short-term-trim-1"
    long: str = "long-term-trim-1"
    seconds: Seconds = 60.0
    gates: tuple[Gate, ...] = IDLE_GATES
    max_drift: float = 2.0


class CodeAbsent(msgspec.Struct, frozen=True, forbid_unknown_fields=True, tag_field="form", tag="code-absent"):
    """Trouble codes gone and not back.

    Attributes:
        codes: five characters each.
        modules: names of the modules that must have been read; empty: whichever were.
        cycles: fewest key cycles between the clear and the last reading.
    """

    id: Slug
    name: str
    codes: Annotated[tuple[str, ...], msgspec.Meta(min_length=1)]
    modules: tuple[str, ...] = ()
    cycles: int = 0


class IdleHunting(msgspec.Struct, frozen=True, forbid_unknown_fields=True, tag_field="form", tag="idle-hunting"):
    """Amplitude of the strongest rhythm of idle speed over a steady window; fields as for the mean."""

    id: Slug
    name: str
    saved: str
    limits: LimitData
    signal: str = "engine-speed"
    seconds: Seconds = 40.0
    gates: tuple[Gate, ...] = IDLE_GATES
    max_drift: float = 30.0


class FlowArea(msgspec.Struct, frozen=True, forbid_unknown_fields=True, tag_field="form", tag="flow-area"):
    """Total effective flow area at idle, mm²; mostly reported, without limits.

    Attributes:
        by: ``flow``: from measured air flow; ``pressure``: from manifold pressure, speed and temperature.
        displacement_l: swept volume, L; only for ``pressure``.
        filling, u_filling: volumetric efficiency and its standard uncertainty; only for ``pressure``.
        before: name of earlier recordings of the same car: then the change since them is judged.
    """

    id: Slug
    name: str
    saved: str
    limits: LimitData
    flow: str = "mass-air-flow"
    barometer: str = "barometric-pressure"
    intake: str = "intake-air-temperature"
    manifold: str = "manifold-pressure"
    seconds: Seconds = 30.0
    gates: tuple[Gate, ...] = IDLE_GATES
    max_drift: float = 0.3
    by: Literal["flow", "pressure"] = "flow"
    speed: str = "engine-speed"
    displacement_l: float = 0.0
    filling: float = 0.8
    u_filling: float = 0.05
    before: str = ""

    def __post_init__(self) -> None:
        if self.by == "pressure" and not self.displacement_l > 0.0:
            raise ValueError("by pressure needs displacement_l, the swept volume in L")


class DualSum(msgspec.Struct, frozen=True, forbid_unknown_fields=True, tag_field="form", tag="dual-sum"):
    """Largest departure of the sum of two sensors over a slow sweep. ``total``: what they add up to."""

    id: Slug
    name: str
    saved: str
    limits: LimitData
    first: str = "throttle-absolute"
    second: str = "throttle-absolute-b"
    total: float = 100.0
    min_span: float = 30.0
    ends: tuple[float, float] | None = PERCENT_ENDS


class DualRatio(msgspec.Struct, frozen=True, forbid_unknown_fields=True, tag_field="form", tag="dual-ratio"):
    """Largest departure of the ratio of two sensors over a slow sweep. ``ratio``: of the first to the second."""

    id: Slug
    name: str
    saved: str
    limits: LimitData
    first: str = "accelerator-pedal-d"
    second: str = "accelerator-pedal-e"
    ratio: float = 2.0
    min_span: float = 15.0
    ends: tuple[float, float] | None = PERCENT_ENDS


class ZeroAtRest(msgspec.Struct, frozen=True, forbid_unknown_fields=True, tag_field="form", tag="zero-at-rest"):
    """What a sensor reads at rest. ``most_sd`` and ``most_trend`` (a second): what counts as still, in its unit."""

    id: Slug
    name: str
    saved: str
    limits: LimitData
    signal: str
    most_sd: float
    most_trend: float


Criterion = (
    RestRange
    | TrackingSlope
    | TrackingResidual
    | IdleMean
    | IdleSpread
    | IdleHunting
    | TrimSum
    | FlowArea
    | DualSum
    | DualRatio
    | ZeroAtRest
    | CodeAbsent
    | SteadyMean
    | MeanDifference
    | Change
    | Rate
    | LevelAfter
    | Dip
    | Recovery
    | SupplySag
    | SupplyRipple
    | SteeringStraight
    | TwoHeadingsOf
    | LearnedRoom
    | LearnedRepeat
    | ColdAgreement
    | LeakageChange
)
