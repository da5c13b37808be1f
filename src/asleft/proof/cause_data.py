"""Why it failed, as data: what can be the cause, and how often each finding shows with it.

Every number is an estimate of ours from how the parts work (TRADE, sections 2 and 5), in four steps only, so that
nobody takes it for more: always 0.9, often 0.65, sometimes 0.3, seldom 0.08; where a cause says nothing of a finding it
shows as often as in a car without that cause. Nothing here was fitted to simulated cars: where a bench fault of the
half that may be looked at was missed, a number was changed only by an argument about the part, which stands beside it.

Source of all tables: common practice, no source.
"""

from __future__ import annotations

import msgspec

ALWAYS, OFTEN, SOMETIMES, SELDOM = 0.9, 0.65, 0.3, 0.08


class Cause(msgspec.Struct, frozen=True):
    """Something that may be behind it.

    Attributes:
        id: slug. words: for the person at the car.
        weight: how common it is beside the others.
        shows: finding -> how often it shows with this cause.
    """

    id: str
    words: str
    weight: float
    shows: dict[str, float]


CAUSES: tuple[Cause, ...] = (
    Cause(
        "air-leak",
        "air leaks in behind the meter: gasket, hose, brake booster, crankcase breather",
        3.0,
        {
            "lean": ALWAYS,
            "meter-low": ALWAYS,
            "opening-small": OFTEN,
            "code-lean": SOMETIMES,
            "idle-high": SOMETIMES,
            "idle-rough": SOMETIMES,
        },
    ),
    Cause(
        "meter-low",
        "the air meter reads too little: dirty, or air past it",
        2.0,
        {"lean": ALWAYS, "meter-low": ALWAYS, "opening-small": SELDOM, "code-lean": SOMETIMES},
    ),
    Cause(
        "meter-high",
        "the air meter reads too much",
        1.0,
        {"rich": ALWAYS, "meter-high": ALWAYS, "code-rich": SOMETIMES},
    ),
    Cause(
        "purge-open",
        "the purge valve does not close",
        1.5,
        # a canister full of vapour makes it rich, an empty one is only a leak, and the trims learn either away
        {"purge-flows": ALWAYS, "rich": SOMETIMES, "lean": SELDOM, "opening-small": SOMETIMES, "code-rich": SELDOM},
    ),
    Cause(
        "fuel-short",
        "too little fuel: pressure, filter, injector",
        1.5,
        {"lean": ALWAYS, "code-lean": OFTEN, "idle-rough": SOMETIMES, "meter-low": SELDOM},
    ),
    Cause(
        "fuel-plenty",
        "too much fuel: pressure, leaking injector",
        1.0,
        {"rich": ALWAYS, "code-rich": OFTEN, "idle-rough": SOMETIMES},
    ),
    Cause(
        "misfire",
        "one or more cylinders misfire",
        2.0,
        {
            "idle-rough": ALWAYS,
            "code-misfire": OFTEN,
            "idle-low": SOMETIMES,
            "opening-large": SOMETIMES,
            "load-high": SOMETIMES,
            "lean": SOMETIMES,
        },
    ),
    Cause(
        "deposits",
        "deposits are left in the throttle's bore",
        2.5,
        {"opening-large": OFTEN, "rest-wanders": SOMETIMES, "idle-low": SOMETIMES, "idle-hunts": SOMETIMES},
    ),
    Cause(
        "not-learned",
        "the learned opening is not that of the cleaned throttle",
        2.5,
        {"idle-high": OFTEN, "idle-hunts": SOMETIMES, "code-not-learned": OFTEN, "idle-low": SELDOM},
    ),
    Cause(
        "plate-sticks",
        "the plate sticks: gum, spring, shaft",
        2.0,
        {
            "rest-wanders": ALWAYS,
            "tracks-badly": OFTEN,
            "plate-noisy": OFTEN,
            "idle-hunts": SOMETIMES,
            "code-position": SOMETIMES,
        },
    ),
    Cause(
        "position-sensor",
        "the plate's position sensor or its wiring is bad",
        1.5,
        {
            "plate-noisy": ALWAYS,
            "tracks-badly": SOMETIMES,
            "pair-disagrees": SOMETIMES,
            "rest-wanders": SOMETIMES,
            "code-position": OFTEN,
            "refused-pedal": SOMETIMES,
        },
    ),
    Cause(
        "pair",
        "the plate's two sensors are not of one throttle, or one has shifted",
        1.0,
        {"pair-disagrees": ALWAYS, "code-position": OFTEN, "refused-conditions": SOMETIMES},
    ),
    Cause(
        "pedal-held",
        "something holds the pedal: mat, cable, a foot",
        2.0,
        {"pedal-up": ALWAYS, "refused-pedal": OFTEN, "idle-high": OFTEN, "opening-large": OFTEN},
    ),
    Cause(
        "battery-flat",
        "the battery is low and nothing supports it",
        3.0,
        {
            "supply-low-off": ALWAYS,
            "supply-falls-off": OFTEN,
            "refused-supply": OFTEN,
            "code-supply": SOMETIMES,
            "supply-low-running": SELDOM,  # a sound alternator carries the car as soon as the engine runs
        },
    ),
    Cause(
        "no-charging",
        "the alternator does not charge",
        1.5,
        {"supply-low-running": ALWAYS, "supply-low-off": SOMETIMES, "code-supply": OFTEN, "load-high": SELDOM},
    ),
    Cause(
        "bad-contact",
        "a bad contact or ground before the module",
        1.5,
        {
            "supply-low-off": OFTEN,
            "supply-low-running": OFTEN,
            "refused-supply": SOMETIMES,
            "code-supply": SOMETIMES,
            "supply-falls-off": SELDOM,
        },
    ),
    Cause(
        "supply-dips",
        "the supply dips as soon as the motor moves",
        2.0,
        {"refused-supply": ALWAYS, "supply-low-off": SOMETIMES},
    ),
    Cause("ripple", "the charger or the alternator ripples", 1.0, {"supply-ripples": ALWAYS, "code-supply": SOMETIMES}),
    Cause(
        "load-on",
        "a load was left on: lamps, heater, something plugged in",
        3.0,
        {
            # 20 to 40 A pull any battery down by their own drop at once, and at idle an alternator gives 40 to 60 A
            "supply-low-off": OFTEN,
            "supply-falls-off": OFTEN,
            "current-off": ALWAYS,
            "supply-low-running": SOMETIMES,
            "load-high": SOMETIMES,
            "opening-large": SOMETIMES,
        },
    ),
    Cause(
        "cooler-on",
        "the air conditioning is on",
        2.5,
        # its compressor is switched on and off by its clutch, so that means over a minute say little
        {"load-steps": OFTEN, "load-high": OFTEN, "opening-large": OFTEN, "idle-high": OFTEN, "cooler-asked": ALWAYS},
    ),
    Cause(
        "fan-cycles",
        "the fan or the compressor switches on and off",
        2.5,
        {"load-steps": ALWAYS, "load-high": SOMETIMES, "idle-rough": SELDOM},
    ),
    Cause(
        "cold-engine",
        "the engine is not warm enough",
        3.0,
        {"cold-engine": ALWAYS, "refused-temperature": OFTEN, "idle-high": OFTEN, "opening-large": SOMETIMES},
    ),
    Cause(
        "coolant-sensor",
        "the coolant sensor reads wrong",
        1.5,
        {
            "cold-differs": ALWAYS,
            "cold-engine": SOMETIMES,
            "refused-temperature": SOMETIMES,
            "rich": SELDOM,
            "code-warm-up": SOMETIMES,
            "warms-slowly": SELDOM,
        },
    ),
    Cause(
        "coolant-frozen",
        "the coolant reading is out of date or stuck",
        0.7,
        {
            "coolant-still": ALWAYS,
            "cold-engine": OFTEN,
            "warms-slowly": ALWAYS,
            "stays-cold": ALWAYS,
            "code-warm-up": SOMETIMES,
        },
    ),
    Cause(
        "thermostat",
        "the thermostat stays open",
        1.5,
        {
            "stays-cold": ALWAYS,
            "warms-slowly": OFTEN,
            "cold-engine": OFTEN,
            "code-warm-up": OFTEN,
            "coolant-still": SELDOM,
        },
    ),
    Cause(
        "intake-sensor",
        "the intake temperature sensor reads wrong",
        1.0,
        {
            "intake-differs": ALWAYS,
            "cold-differs": ALWAYS,
            "refused-temperature": SOMETIMES,
            "meter-low": SOMETIMES,
            "meter-high": SOMETIMES,
        },
    ),
    Cause(
        "pressure-sensor",
        "the manifold pressure sensor reads wrong",
        1.0,
        {"pressure-off": ALWAYS, "meter-low": OFTEN, "meter-high": OFTEN},
    ),
    Cause(
        "speed-frozen",
        "the readings are out of date: link, gateway or module",
        0.7,
        {"speed-still": ALWAYS, "coolant-still": SELDOM},
    ),
    Cause(
        "self-start",
        "the engine started by itself: ready, stop-start",
        0.7,
        {"runs-by-itself": ALWAYS, "refused-running": OFTEN},
    ),
    Cause(
        "engine-state",
        "the engine runs where it should stand, or stands where it should run",
        2.0,
        {"refused-running": ALWAYS},
    ),
    Cause(
        "wrong-identifier",
        "the procedure or identifier is for another module or software",
        2.0,
        {"refused-range": ALWAYS},
    ),
    Cause("no-access", "the module wants authorised access that is not there", 1.5, {"refused-access": ALWAYS}),
    Cause("busy", "the module is at work on something else", 0.7, {"busy": ALWAYS, "silent": SELDOM}),
    Cause("no-link", "the module has no supply or no link", 1.5, {"silent": ALWAYS, "code-supply": SELDOM}),
    Cause("hidden-condition", "a condition that the module does not name", 1.5, {"refused-conditions": ALWAYS}),
)
"""Causes of failed learns at engine air and throttle. The chance that none of them is at work has its own weight."""

#: Weight of "none of these" beside the causes together: what is found may be chance, or something not listed.
NONE_SHARE = 0.5
