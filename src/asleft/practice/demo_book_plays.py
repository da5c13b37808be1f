"""The plays of the demo book: how each procedure passes, and how it does not."""

from __future__ import annotations

from asleft.model.verdict import Verdict

from . import demo_book_cars as cars
from .demo_book import Do, Failing, Play, Sees, do
from .driver import SWEEP

_TWICE_ON = (do("key", position="off"), do("key", 12.0, position="on"))
_LEVEL = {
    "Type it again": ("stop here",),
    "along it. Nose up": (Sees("read_level", pick="along"),),
    "across the car. Left side": (Sees("read_level", pick="across"),),
}
_LAMP = {
    "the stability lamp": (
        Sees("look_at_lamp", words={
            "flashing": "it flashes", "off": "it stays off", "on": "it is on without flashing",
        }),
    )
}  # fmt: skip
_YAW_WORK = (do("key", position="off"), do("replace_yaw_sensor", 5.0), do("charger", on=True))
_SWEEP = tuple(
    do("pedal", round(at - before, 3), percent=percent)
    for (before, _), (at, percent) in zip(((0.0, 0.0), *SWEEP[:-1]), SWEEP, strict=True)
)


def fault(name: str, size: float | None = None, after_s: float = 0.0) -> Do:
    """Set a fault of the bench car; without a size its usual one."""
    return do("fault", after_s, name=name) if size is None else do("fault", after_s, name=name, size=size)


YAW = Play(
    "yaw-accel-zero-brevik", "estate", "Brevik", "2.0", 2020, "yaw-sensor",
    cars.modules((cars.ENGINE, ()), (cars.STABILITY, cars.STABILITY_ZEROS)), cars.BREVIK_SIGNALS,
    options={"warm": True},
    acts={"do-work": _YAW_WORK, "turn-round": (do("turn_round"), do("wait", 4.0))},
    answers={**_LEVEL, **_LAMP},
    fails={
        "floor-slopes": Failing(
            "the floor slopes by 1.5°: the level's reading is outside, the run is stopped before the learn",
            after={"do-work": (fault("floor slopes"),)}, verdict=Verdict.CANNOT_TELL,
        ),
        "someone-leans": Failing(
            "somebody leans on the car while it learns and steps away afterwards",
            after={"do-work": (fault("someone leans on the car", 2.0),), "key-off": (do("mend", name="someone leans on the car"),)},
        ),
        "sensor-noisy": Failing(
            "the sensor is noisy: the module stores nothing and the lamp stays off",
            after={"do-work": (fault("yaw sensor noisy", 2.0),)},
        ),
        "angle-zero-lost": Failing(
            "the steering angle has no zero: the module refuses the start with 22",
            after={"do-work": (fault("angle zero lost"),)}, verdict=Verdict.CANNOT_TELL,
        ),
        "not-readable": Failing(
            "older software: the lamp flashes, but no value can be read; lamp seen, value not measured, cannot tell",
            options={"readable": False}, verdict=Verdict.CANNOT_TELL,
        ),
    },
)  # fmt: skip

_PRESSES = tuple(
    one for _ in range(3) for one in (do("brake", 1.0, pressed=True, percent=60.0), do("brake", 2.0, pressed=False))
)
PRESSURE = Play(
    "brake-pressure-zero-brevik", "estate", "Brevik", "2.0", 2020, "master-cylinder",
    cars.modules((cars.ENGINE, ()), (cars.STABILITY, cars.STABILITY_ZEROS)), cars.BREVIK_SIGNALS,
    options={"warm": True},
    acts={"do-work": (do("key", position="off"), fault("pressure sensor offset", 1.5), do("charger", on=True))},
    meanwhile={"three-presses": _PRESSES},
    fails={
        "pedal-hangs": Failing(
            "the pedal hangs with 3 bar while it learns and is freed afterwards",
            after={"do-work": (fault("brake pedal hangs"),), "three-presses": (do("mend", name="brake pedal hangs"),)},
        ),
        "sensor-offset": Failing(
            "the sensor is 7 bar off: beyond its window, the module stores nothing",
            after={"do-work": (fault("pressure sensor offset", 7.5),)}, verdict=Verdict.CANNOT_TELL,
        ),
        "foot-on-brake": Failing(
            "a foot stays on the brake: the module refuses the start with 22",
            after={"do-work": (do("brake", pressed=True, percent=30.0),)}, verdict=Verdict.CANNOT_TELL,
        ),
        "supply-low": Failing(
            "no support, battery nearly flat: the entry condition does not come",
            after={"do-work": (do("charger", on=False), fault("battery nearly flat", 0.02))}, verdict=Verdict.CANNOT_TELL,
        ),
        "pedal-hangs-later": Failing(
            "the pedal hangs after the presses: with the foot off pressure remains",
            after={"three-presses": (do("wait", 9.0), fault("brake pedal hangs"))},
        ),
    },
)  # fmt: skip

_TO_60 = (
    do("key", position="off"), do("key", 3.0, position="on"), do("key", 2.0, position="start"), do("wait", 8.0),
    do("parking_brake", on=False), do("brake", pressed=True), do("selector", 1.0, position="D"),
    do("steer", degrees=None), do("drive", km_h=60.0), do("wait", 25.0),
)  # fmt: skip
ANGLE = Play(
    "steering-angle-zero-brevik", "estate", "Brevik", "2.0", 2020, "steering-column",
    cars.modules((cars.ENGINE, ()), (cars.ANGLE, cars.ANGLE_ZERO), (cars.STABILITY, ())), cars.BREVIK_SIGNALS,
    options={"warm": True},
    acts={
        "do-work": (do("key", position="off"), do("replace_steering_sensor", 5.0), do("charger", on=True)),
        "drive-there": (do("charger", on=False), *_TO_60),
        "drive-back": (do("drive", km_h=0.0), do("wait", 15.0), do("turn_round"), do("drive", 2.0, km_h=60.0), do("wait", 25.0)),
        "park": (
            do("drive", km_h=0.0), do("brake", 15.0, pressed=True), do("selector", 1.0, position="P"),
            do("parking_brake", on=True), do("key", position="off"), do("charger", on=True), do("key", 5.0, position="on"),
            do("brake", 2.0, pressed=False),
        ),
    },
    fails={
        "wheel-not-straight": Failing(
            "the hand wheel stands 8° off while it learns",
            after={"do-work": (do("steer", degrees=8.0),)},
        ),
        "alignment": Failing(
            "after the alignment the car runs straight with the hand wheel 5° off",
            after={"do-work": (do("align", straight_deg=5.0),)},
        ),
        "sensor-beyond": Failing(
            "the sensor was fitted a spline off: beyond its window, nothing is stored",
            after={"do-work": (fault("angle sensor offset", 15.0), do("steer", degrees=30.0))}, verdict=Verdict.CANNOT_TELL,
        ),
        "supply-low": Failing(
            "no support, battery nearly flat: the entry condition does not come",
            after={"do-work": (do("charger", on=False), fault("battery nearly flat", 0.02))}, verdict=Verdict.CANNOT_TELL,
        ),
        "one-way-only": Failing(
            "the way back is not driven: the car stands, and one direction alone proves nothing",
            instead={"drive-back": (do("drive", km_h=0.0), do("wait", 15.0))}, verdict=Verdict.CANNOT_TELL,
        ),
    },
)  # fmt: skip

_LOCKS = (
    do("steer", degrees=510.0), do("steer", 4.0, degrees=-510.0), do("steer", 7.0, degrees=0.0), do("wait", 4.0),
)  # fmt: skip
STOPS = Play(
    "steering-end-stops-brevik", "estate", "Brevik", "2.0", 2020, "steering-rack",
    cars.modules((cars.ENGINE, ()), (cars.ASSIST, cars.LOCKS)), cars.BREVIK_SIGNALS,
    options={"warm": True},
    acts={"do-work": (do("key", position="off"), do("charger", on=True))},
    meanwhile={"lock-to-lock": _LOCKS},
    fails={
        "not-to-the-lock": Failing(
            "the wheel is not turned to the locks: nothing is stored within the time",
            instead={"lock-to-lock": (do("steer", degrees=300.0), do("steer", 4.0, degrees=-300.0), do("steer", 5.0, degrees=0.0))},
            verdict=Verdict.CANNOT_TELL,
        ),
        "tie-rod-bent": Failing(
            "a tie rod is bent: one lock comes 80° early", after={"do-work": (fault("tie rod bent"),)}, verdict=Verdict.CANNOT_TELL,
        ),
        "tie-rod-slightly-bent": Failing(
            "a tie rod is bent a little: both locks are stored, and they differ", after={"do-work": (fault("tie rod bent", 25.0),)},
        ),
        "not-back-to-the-middle": Failing(
            "the wheel is left at the right lock", instead={"lock-to-lock": _LOCKS[:2]}, verdict=Verdict.CANNOT_TELL,
        ),
        "engine-off": Failing(
            "the engine is switched off before the start: the gate stays closed",
            instead={"warm-idle": (do("key", position="on"),)}, verdict=Verdict.CANNOT_TELL,
        ),
    },
)  # fmt: skip

PEDAL = Play(
    "pedal-rest-learn-aldra", "petrol", "Aldra", "1.6", 2019, "pedal-replaced",
    cars.modules((cars.ENGINE, cars.PEDAL_REST)), cars.ALDRA_SIGNALS,
    options={"warm": True},
    acts={"do-work": (do("key", position="off"), do("replace_pedal", 5.0), do("charger", on=True)), "pedal-full": (do("pedal", percent=100.0),)},
    fails={
        "mat-holds": Failing(
            "the mat holds the pedal a little while it learns, and is taken away afterwards",
            after={"do-work": (do("pedal", percent=2.8),), "key-off": (do("pedal", percent=0.0),)},
        ),
        "bracket-bent": Failing(
            "the bracket is bent: the pedal does not come back to its rest", after={"do-work": (fault("pedal bracket bent", 6.0),)}, verdict=Verdict.CANNOT_TELL,
        ),
        "foot-on": Failing(
            "a foot stays on the pedal: the gate stays closed", after={"do-work": (do("pedal", percent=20.0),)}, verdict=Verdict.CANNOT_TELL,
        ),
        "sensor-noisy": Failing(
            "the pedal's sensor is noisy: the rest is left while it learns", after={"do-work": (fault("pedal sensor noisy", 1.5),)}, verdict=Verdict.CANNOT_TELL,
        ),
        "not-to-the-floor": Failing(
            "the pedal is not pressed to the floor: full is not seen", instead={"pedal-full": (do("pedal", percent=85.0),)},
        ),
    },
)  # fmt: skip

EGR = Play(
    "egr-learn-dunmere", "diesel", "Dunmere", "1.9", 2019, "egr",
    cars.modules((cars.ENGINE, cars.RETURN)), cars.DUNMERE_SIGNALS,
    options={"warm": True},
    acts={
        "do-work": (do("key", position="off"), do("replace_return_valve", 5.0), do("charger", on=True)),
        "start-and-idle": (do("key", position="start"), do("wait", 30.0)),
    },
    fails={
        "sticks": Failing("the valve sticks", after={"do-work": (fault("return valve sticks"),)}, verdict=Verdict.CANNOT_TELL),
        "gear-worn": Failing("the gear is worn: the travel is too short", after={"do-work": (fault("return gear worn"),)}, verdict=Verdict.CANNOT_TELL),
        "carbon": Failing("much carbon on the seat", after={"do-work": (fault("carbon on the return seat", 40.0),)}, verdict=Verdict.CANNOT_TELL),
        "sensor-offset": Failing("the sensor is off", after={"do-work": (fault("return sensor offset", 9.0),)}, verdict=Verdict.CANNOT_TELL),
        "sticks-later": Failing("the valve sticks only after the learn", instead={"start-and-idle": (fault("return valve sticks", 80.0), do("key", position="start"), do("wait", 30.0))}),
    },
)  # fmt: skip

LOWER_STOP = Play(
    "throttle-stop-learn-brevik", "estate", "Brevik", "2.0", 2020, "throttle-removed-refitted",
    cars.modules((cars.ENGINE, cars.STOP)), cars.BREVIK_SIGNALS,
    options={"warm": True},
    acts={"do-work": (do("key", position="off"), do("wait", 5.0), do("charger", on=True))},
    meanwhile={"pedal-sweep": (do("pedal", percent=0.0), *_SWEEP)},
    answers={"Type the routine identifier": ("5A31h",)},
    fails={
        "wrong-base": Failing(
            "the identifier is typed from the wrong line: the module knows no such routine",
            answers={"Type the routine identifier": ("5A21h",)}, verdict=Verdict.CANNOT_TELL,
        ),
        "supply-dips": Failing("the supply dips while it learns: the module ends it with 93", after={"do-work": (fault("supply dips while learning"),)}, verdict=Verdict.CANNOT_TELL),
        "plate-sensor-noisy": Failing("the plate's sensor is noisy", after={"do-work": (fault("plate sensor noisy", 3.0),)}),
        "half-a-sweep": Failing(
            "the pedal is moved a little only: too small a sweep for a slope",
            instead={"pedal-sweep": (do("pedal", 1.0, percent=5.0), do("pedal", 4.0, percent=10.0), do("pedal", 4.0, percent=0.0))}, verdict=Verdict.CANNOT_TELL,
        ),
        "pedal-held": Failing("the mat holds the pedal: the gate stays closed", after={"do-work": (do("pedal", percent=20.0),)}, verdict=Verdict.CANNOT_TELL),
    },
)  # fmt: skip

#: Running gear, pedal, throttle, exhaust return.
FIRST = (YAW, PRESSURE, ANGLE, STOPS, PEDAL, EGR, LOWER_STOP)
