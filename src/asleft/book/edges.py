"""Order rules between functions, and the fixed points of a job: what must come before what, and why.

``hard``: wrong result or danger if reversed; ``soft``: saves rework. A slug with ``/still``, ``/road`` and so on is
that part of the function; a slug alone is every part. Names that are no function are points and groups of a job
(``POINTS``). A procedure may add, turn or drop a rule for its car, with its source page.

Source: common practice, no source.
"""

from __future__ import annotations

from enum import StrEnum, unique

import msgspec

from .fields import Node, Text


@unique
class EdgeKind(StrEnum):
    """``HARD``: wrong result or danger if reversed. ``SOFT``: saves rework. ``DROPPED``: does not hold for this car."""

    HARD = "hard"
    SOFT = "soft"
    DROPPED = "dropped"


class OrderEdge(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """One order rule that this procedure adds, turns or drops, with its source page."""

    before: Node
    after: Node
    kind: EdgeKind
    why: Text
    source: str = ""


#: Points and groups that stand in the rules beside functions.
POINTS: tuple[str, ...] = (
    "as-received",
    "repair-work",
    "battery-support",
    "as-found",
    "any-effect",
    "learns-in-that-module",
    "engine-running",
    "misfire-readiness",
    "oil-change",
    "work-torqued",
    "tyres-checked",
    "wheel-alignment",
    "adhesive-cured",
    "any-drive",
    "first-start",
    "stationary-work",
    "planned-clear",
    "road-learns",
    "key-cycles",
    "as-left",
    "release",
)

_H, _S = EdgeKind.HARD, EdgeKind.SOFT

ORDER_EDGES: tuple[OrderEdge, ...] = tuple(
    OrderEdge(before, after, kind, why)
    for before, after, kind, why in (
        ("as-received", "repair-work", _S, 'shows the effect of the repair; "not taken" when missed'),
        ("as-received", "epb-service-position/open", _H, "the first actuation needs a picture before it"),
        ("battery-support", "epb-service-position/open", _H, "motors draw 10–20 A each"),
        ("epb-service-position/open", "repair-work", _H, "pads cannot be fitted else"),
        ("repair-work", "as-found", _H, "as found is the repaired car"),
        ("as-found", "any-effect", _H, "cannot be recovered later"),
        ("battery-support", "any-effect", _H, "voltage dip mid-write"),
        ("programming-prereq", "module-coding", _H, "new software may clear or re-lay-out coding"),
        ("fitted-module-list", "module-coding", _S, "addressing, plausibility of the added module"),
        ("module-coding", "learns-in-that-module", _H, "coding changes may reset learned values or the learn strategy"),
        ("module-coding", "immobiliser-key", _S, "identity first"),
        ("module-coding", "injector-code", _H, "coding may reset entered values"),
        ("module-coding", "airbag-config", _S, "neighbours carry equipment and identity"),
        ("immobiliser-key", "engine-running", _H, "car will not start"),
        ("injector-code", "pump-learn", _H, "learns around wrong base"),
        ("injector-code", "injector-qty-adapt", _H, "learns around wrong base"),
        ("injector-code", "misfire-adapt", _H, "learns around wrong base"),
        ("pump-learn", "injector-qty-adapt", _H, "pressure error is learned as quantity error"),
        ("pedal-rest-learn", "throttle-stop-learn", _S, "learn waits for released pedal"),
        ("throttle-stop-learn", "idle-relearn", _H, "idle opening is counted from the stop"),
        ("throttle-idle-switch-cable", "idle-relearn", _H, "idle must be recognised"),
        ("egr-learn", "idle-relearn", _S, "leaking EGR disturbs idle"),
        ("cam-phaser-learn", "idle-relearn", _S, "phase changes the air an idle needs"),
        ("cam-phaser-learn", "crank-tooth-learn", _S, "phase error and tooth error interact"),
        ("idle-relearn", "fuel-trim-reset", _H, "unstable airflow"),
        ("idle-relearn", "trans-learn/still", _S, "creep torque"),
        (
            "crank-tooth-learn/still",
            "misfire-adapt",
            _S,
            "roughness is measured with it; with the road form, look at the values again after the drive",
        ),
        ("crank-tooth-learn", "misfire-readiness", _H, "monitor is inhibited or false"),
        ("fuel-trim-reset/still", "fuel-trim-reset/road", _H, "reset and idle part first"),
        ("trans-adapt-reset", "trans-learn/still", _H, "reset would discard the learn"),
        ("trans-learn/still", "trans-learn/road", _H, "base values first"),
        ("gear-position-learn", "clutch-bite-learn", _S, "gates first"),
        ("clutch-bite-learn", "trans-learn/road", _H, "launch data depends on touch point"),
        ("dp-sensor-zero", "dpf-service-regen", _H, "load estimate uses zero"),
        ("dp-sensor-zero", "dpf-ash-reset", _H, "load estimate uses zero"),
        ("dpf-service-regen", "oil-change", _S, "dilution after regeneration"),
        ("oil-change", "service-interval-reset", _H, "never reset without the work"),
        ("reductant-reset/still", "reductant-reset/road", _H, "dosing test first"),
        ("work-torqued", "ride-height-cal", _H, "bushes pre-loaded wrongly change height"),
        ("tyres-checked", "ride-height-cal", _H, "geometry"),
        ("ride-height-cal", "wheel-alignment", _H, "toe/camber change with height"),
        ("wheel-alignment", "sas-zero", _H, '"straight ahead" is defined by it'),
        ("wheel-alignment", "camera-aim-static", _H, "targets are placed on the thrust line"),
        ("wheel-alignment", "radar-aim", _H, "aimed along the thrust line"),
        ("ride-height-cal", "headlamp-level", _H, "aim follows height"),
        ("epb-service-position", "abs-bleed", _S, "pistons in place first"),
        ("abs-bleed", "brake-pressure-zero", _H, "residual pressure or air"),
        ("brake-pressure-zero", "yaw-accel-zero", _S, "where the same module runs both"),
        ("sas-zero", "yaw-accel-zero", _S, "module checks agreement"),
        ("sas-zero", "eps-torque-zero", _H, "reference axis of the end stops"),
        ("yaw-accel-zero", "eps-torque-zero", _S, "plausibility"),
        ("sas-zero", "camera-aim-static", _H, "reference axis"),
        ("sas-zero", "radar-aim", _H, "reference axis"),
        ("headlamp-level", "camera-aim-static", _S, "beam functions refer to the aim"),
        ("adhesive-cured", "camera-aim-static", _H, "glass may move"),
        ("adhesive-cured", "any-drive", _H, "glass may move; restraint support"),
        ("rain-light-sensor", "camera-aim-static", _S, "same bracket area; handle once"),
        ("camera-aim-static", "camera-aim-dynamic", _H, "dynamic refines static"),
        ("camera-aim-static", "radar-aim/still", _S, "shares the bay set-up"),
        ("radar-aim/still", "radar-aim/road", _H, "road form refines"),
        ("tpms-learn/still", "tpms-learn/road", _S, "identities first"),
        ("hv-isolation", "hv-contactor", _H, "danger"),
        ("hv-contactor", "hv-balance", _H, "danger"),
        ("hv-isolation", "resolver-learn", _H, "danger"),
        ("hv-contactor", "resolver-learn", _H, "danger"),
        ("evap-service-test/cold", "first-start", _H, "costs a cold soak"),
        ("first-start", "engine-running", _H, "by definition"),
        ("stationary-work", "planned-clear", _H, "functions set codes during the work"),
        ("planned-clear", "road-learns", _H, "clearing after the drive would erase its proof and restart the monitors"),
        ("road-learns", "key-cycles", _H, "values are stored at key-off; codes return on the next cycle"),
        ("planned-clear", "key-cycles", _H, "also where no road learn is planned"),
        ("key-cycles", "as-left", _H, "as left is what stays"),
        ("as-left", "release", _H, "a release states what was left"),
    )
)
