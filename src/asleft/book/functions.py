"""The functions of the trade in short: what the plan and the needs must know of each. Texts stand in the catalogue.

Minutes are starting values for a template (common practice, no source): the middle of the usual range; a procedure's
own minutes replace them. A function with two parts has one line a part.
"""

from __future__ import annotations

from enum import StrEnum, unique

import msgspec


@unique
class Kind(StrEnum):
    """What a function belongs to."""

    ENGINE = "engine"
    DRIVELINE = "driveline"
    CHASSIS = "brakes-steering-stability"
    RESTRAINT = "restraint"
    ASSISTANCE = "driver-assistance"
    BODY = "body-comfort"
    NETWORK = "network-identity"
    HIGH_VOLTAGE = "high-voltage"


@unique
class HardStop(StrEnum):
    """Families in which this project reads and verifies only, with the reason."""

    RESTRAINT = "this project writes nothing to a restraint module"
    HIGH_VOLTAGE = "this project energises nothing and closes no contactor"
    SECURITY = "keys and immobilisers are learned by an authorised party"
    ODOMETER = "this project writes no distance"


class Part(msgspec.Struct, frozen=True):
    """One part or form of a function.

    Attributes:
        name: ``still``, ``road``, ``cold``, ``warm``, ``open``, ``close``; empty when there is one only.
        state: car state it is done in.
        active_min, elapsed_min: bench minutes, without reaching the state.
        phase: 0 to 9, or 11 to 14 for high voltage (H1 to H4).
    """

    name: str
    state: str
    active_min: float
    elapsed_min: float
    phase: int


class Function(msgspec.Struct, frozen=True):
    """One function.

    Attributes:
        slug: id. name: words. kind: what it belongs to.
        risk: 1 low … 4 hard-stop rules.
        parts: in the order they are done; alternatives come first as the usual form.
        alternative: the parts are forms of which one is chosen (the first unless asked for), not a sequence.
    """

    slug: str
    name: str
    kind: Kind
    risk: int
    parts: tuple[Part, ...]
    alternative: bool = False


def _one(state: str, minutes: float, phase: int, elapsed: float | None = None) -> tuple[Part, ...]:
    return (Part("", state, minutes, minutes if elapsed is None else elapsed, phase),)


def _two(first: Part, second: Part) -> tuple[Part, ...]:
    return (first, second)


_E, _D, _B, _R = Kind.ENGINE, Kind.DRIVELINE, Kind.CHASSIS, Kind.RESTRAINT
_A, _C, _N, _H = Kind.ASSISTANCE, Kind.BODY, Kind.NETWORK, Kind.HIGH_VOLTAGE

FUNCTIONS: dict[str, Function] = {
    f.slug: f
    for f in (
        Function("idle-relearn", "idle relearn", _E, 1, _one("warm-idle", 12, 6)),
        Function("throttle-stop-learn", "electronic throttle lower-stop learn", _E, 1, _one("koeo", 4, 3)),
        Function(
            "throttle-idle-switch-cable", "idle position and idle switch, cable throttle", _E, 1, _one("koeo", 8, 3)
        ),
        Function("pedal-rest-learn", "pedal rest learn", _E, 1, _one("koeo", 2, 3)),
        Function("cam-phaser-learn", "camshaft end-stop and phase adaptation", _E, 1, _one("warm-idle", 10, 6)),
        Function(
            "crank-tooth-learn",
            "crankshaft tooth-error learn",
            _E,
            2,
            _two(Part("still", "warm-idle", 5, 5, 6), Part("road", "road", 20, 20, 8)),
            alternative=True,
        ),
        Function("misfire-adapt", "combustion smoothness adaptation", _E, 1, _one("warm-idle", 10, 6)),
        Function(
            "fuel-trim-reset",
            "fuel adaptation reset and relearn",
            _E,
            2,
            _two(Part("still", "warm-idle", 10, 10, 6), Part("road", "road", 15, 15, 8)),
        ),
        Function("egr-learn", "EGR valve zero and travel learn", _E, 2, _one("koeo", 5, 3)),
        Function(
            "turbo-actuator-learn",
            "boost actuator stop learn",
            _E,
            2,
            _two(Part("still", "koeo", 5, 5, 3), Part("road", "road", 10, 10, 8)),
        ),
        Function("injector-code", "injector correction code entry", _E, 2, _one("koeo", 15, 2)),
        Function(
            "injector-qty-adapt",
            "small-quantity adaptation",
            _E,
            2,
            _two(Part("road", "road", 30, 30, 8), Part("still", "warm-idle", 20, 20, 6)),
            alternative=True,
        ),
        Function("pump-learn", "high-pressure pump learn", _E, 2, _one("warm-idle", 15, 6)),
        Function("dpf-service-regen", "particulate-filter service regeneration", _E, 4, _one("hot-outdoors", 55, 6)),
        Function("dpf-ash-reset", "particulate-filter ash model reset", _E, 3, _one("koeo", 5, 3)),
        Function("dp-sensor-zero", "exhaust differential-pressure sensor zero", _E, 1, _one("koeo", 3, 3)),
        Function(
            "reductant-reset",
            "reductant system quality and dosing learn",
            _E,
            3,
            _two(Part("still", "warm-idle", 20, 20, 6), Part("road", "road", 20, 20, 8)),
        ),
        Function(
            "evap-service-test",
            "evaporative system leak test",
            _E,
            2,
            _two(Part("cold", "koeo-cold", 15, 15, 1), Part("warm", "warm-idle", 15, 15, 6)),
            alternative=True,
        ),
        Function("service-interval-reset", "service interval reset", _C, 1, _one("koeo", 2, 6)),
        Function("trans-adapt-reset", "transmission adaptation reset", _D, 2, _one("warm-gearbox", 3, 6)),
        Function(
            "trans-learn",
            "transmission stationary and drive learn",
            _D,
            2,
            _two(Part("still", "warm-gearbox", 10, 10, 6), Part("road", "road", 30, 30, 8)),
        ),
        Function("clutch-bite-learn", "clutch touch-point learn", _D, 2, _one("warm-idle", 18, 6)),
        Function("gear-position-learn", "selector and shift-gate learn", _D, 2, _one("koeo", 5, 3)),
        Function("xfer-axle-learn", "transfer and axle coupling learn", _D, 2, _one("koeo", 10, 4)),
        Function(
            "epb-service-position",
            "electric parking brake service position and return",
            _B,
            3,
            _two(Part("open", "on-lift", 5, 5, 0), Part("close", "on-lift", 5, 5, 4)),
        ),
        Function("abs-bleed", "hydraulic unit automated bleed", _B, 3, _one("on-lift", 45, 4)),
        Function("brake-pressure-zero", "brake pressure sensor zero", _B, 3, _one("koeo", 2, 4)),
        Function("sas-zero", "steering-angle sensor zero", _B, 3, _one("level-floor", 8, 5)),
        Function("yaw-accel-zero", "yaw-rate and acceleration sensor zero", _B, 3, _one("level-floor", 13, 5)),
        Function("eps-torque-zero", "power steering torque zero and end-stop learn", _B, 3, _one("level-idle", 8, 5)),
        Function("ride-height-cal", "suspension height adjustment", _B, 2, _one("level-floor", 20, 5)),
        Function(
            "tpms-learn",
            "tyre sensor identity and pressure learn",
            _B,
            1,
            _two(Part("still", "koeo", 10, 10, 3), Part("road", "road", 15, 15, 8)),
        ),
        Function("seat-occupancy-zero", "seat occupancy sensor zero", _R, 4, _one("level-floor", 20, 3)),
        Function("airbag-config", "restraint module configuration", _R, 4, _one("koeo", 15, 2)),
        Function("camera-aim-static", "forward camera static aim", _A, 3, _one("target-bay", 25, 5)),
        Function("camera-aim-dynamic", "forward camera drive adjustment", _A, 3, _one("road", 30, 8)),
        Function(
            "radar-aim",
            "radar aim",
            _A,
            3,
            _two(Part("still", "target-bay", 25, 25, 5), Part("road", "road", 25, 25, 8)),
            alternative=True,
        ),
        Function("surround-camera", "surround camera alignment", _A, 2, _one("level-floor", 35, 5)),
        Function("park-sensor", "parking sensor learn", _C, 1, _one("koeo", 10, 3)),
        Function("rain-light-sensor", "rain and light sensor zero", _C, 1, _one("koeo", 5, 3)),
        Function("module-coding", "module coding", _N, 3, _one("koeo", 20, 2)),
        Function("fitted-module-list", "fitted-module list", _N, 2, _one("koeo", 10, 2)),
        Function("programming-prereq", "module programming", _N, 3, _one("koeo", 75, 2)),
        Function("immobiliser-key", "immobiliser and key learning", _N, 4, _one("koeo", 40, 2)),
        Function("cluster-mileage", "instrument cluster replacement", _N, 4, _one("koeo", 15, 2)),
        Function("battery-data", "battery data entry", _C, 1, _one("koeo", 5, 3)),
        Function("window-roof-init", "window and roof initialisation", _C, 2, _one("koeo", 5, 3)),
        Function("headlamp-level", "headlamp levelling", _A, 2, _one("level-floor", 15, 5)),
        Function("hvac-flap", "ventilation flap learn", _C, 1, _one("koeo", 6, 3)),
        Function("hv-isolation", "high-voltage isolation test", _H, 4, _one("hv-safe", 22, 11)),
        Function("hv-contactor", "high-voltage contactor and pre-charge check", _H, 4, _one("koeo", 10, 12)),
        Function("hv-balance", "high-voltage pack balance and reference", _H, 4, _one("hv-rest", 30, 13, 120)),
        Function("resolver-learn", "drive motor position offset learn", _H, 4, _one("on-lift", 30, 14)),
    )
}


#: Functions in which nothing is written, started or controlled by wire.
HARD_STOPS: dict[str, HardStop] = {
    "seat-occupancy-zero": HardStop.RESTRAINT,
    "airbag-config": HardStop.RESTRAINT,
    "hv-isolation": HardStop.HIGH_VOLTAGE,
    "hv-contactor": HardStop.HIGH_VOLTAGE,
    "hv-balance": HardStop.HIGH_VOLTAGE,
    "resolver-learn": HardStop.HIGH_VOLTAGE,
    "immobiliser-key": HardStop.SECURITY,
    "cluster-mileage": HardStop.ODOMETER,
}

#: Names of modules to which nothing is ever written, whatever the function.
RESTRAINT_MODULES = frozenset({"restraint", "restraints", "airbag", "belt", "occupant"})


def hard_stop(function: str, module: str) -> HardStop | None:
    """The hard stop that holds for a function in a module; None without one."""
    if module in RESTRAINT_MODULES:
        return HardStop.RESTRAINT
    return HARD_STOPS.get(function)


def name_of(slug: str) -> str:
    """Words for a function, or the slug itself when it is not in the list."""
    function = FUNCTIONS.get(slug)
    return function.name if function is not None else slug.replace("-", " ")
