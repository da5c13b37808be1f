"""More plays of the demo book: wheel of the crankshaft, gearbox, battery, window, lamps, isolation."""

from __future__ import annotations

from asleft.model.verdict import Verdict

from . import demo_book_cars as cars
from .demo_book import Do, Failing, Play, Sees, do
from .demo_book_plays import fault

_TELL = Verdict.CANNOT_TELL
_OFF_ON = (do("key", position="off"), do("charger", 3.0, on=True))

_REV = (do("pedal", 1.0, percent=60.0), do("pedal", 3.5, percent=0.0), do("wait", 4.5))
TEETH = Play(
    "crank-tooth-learn-aldra", "petrol", "Aldra", "1.6", 2019, "crank-target",
    cars.modules((cars.ENGINE, cars.TEETH)), cars.ALDRA_SIGNALS,
    options={"warm": True},
    acts={
        "do-work": (do("key", position="off"), do("replace_crank_sensor", 5.0), do("charger", on=True)),
        "warm-idle": (do("key", position="start"), do("wait", 40.0)),
    },
    meanwhile={"three-overruns": _REV * 3},
    fails={
        "foot-stays-down": Failing(
            "the foot stays down: no run-down without combustion, nothing is stored in time",
            instead={"three-overruns": (do("pedal", percent=60.0), do("wait", 28.0), do("pedal", percent=0.0))}, verdict=_TELL,
        ),
        "two-overruns-only": Failing("only two run-downs", instead={"three-overruns": _REV * 2}, verdict=_TELL),
        "wrong-wheel": Failing("a wheel of another engine was fitted", after={"do-work": (fault("wrong target wheel"),)}, verdict=_TELL),
        "damper-loose": Failing("the damper is loose: the run-downs differ", after={"do-work": (fault("damper loose"),)}, verdict=_TELL),
        "misfire": Failing("it misfires: the idle is restless", after={"three-overruns": (do("wait", 30.0), fault("misfire", 0.06))}),
    },
)  # fmt: skip

_WALK = (do("selector", 1.0, position="R"), do("selector", 5.0, position="D"))
_AGAIN = (
    do("selector", 1.0, position="N"),
    do("selector", 4.0, position="R"),
    do("selector", 4.0, position="N"),
    do("selector", 4.0, position="D"),
)
GEARBOX = Play(
    "trans-learn-brevik", "estate", "Brevik", "2.0", 2020, "gearbox-parts",
    cars.modules((cars.ENGINE, ()), (cars.GEARBOX, cars.FILLS)), cars.BREVIK_SIGNALS,
    options={"warm": True},
    acts={
        "do-work": (do("key", position="off"), do("replace_valve_body", 5.0), do("charger", on=True)),
        "brake-on": (do("brake", pressed=True, percent=60.0),),
        "park": (do("selector", position="P"), do("brake", 1.0, pressed=False)),
        "warm-idle": (do("brake", pressed=True, percent=60.0), do("key", position="start"), do("wait", 20.0)),
    },
    meanwhile={"walk": _WALK, "engage-again": _AGAIN},
    fails={
        "brake-released": Failing(
            "the foot comes off the brake while it learns: the module refuses",
            instead={"walk": (*_WALK[:1], do("brake", 3.0, pressed=False))}, verdict=_TELL,
        ),
        "oil-cold": Failing("the gearbox oil is cold: the gate stays closed", after={"do-work": (fault("gearbox oil cold", 40.0),)}, verdict=_TELL),
        "clutch-worn": Failing("a clutch is worn: its fill lies outside", after={"do-work": (fault("clutch worn"),)}, verdict=_TELL),
        "misfire": Failing("it misfires: the idle falls below its limit while it learns", after={"brake-on": (fault("misfire", 0.12),)}, verdict=_TELL),
        "oil-low": Failing("oil is lost after the learn: the elements grip late", instead={"engage-again": (fault("gearbox oil low", 0.6), *_AGAIN)}),
    },
)  # fmt: skip

_DATA = "03 46 32 39 33 31 51 37 30 34 38 32 31 35"
BATTERY = Play(
    "battery-data-brevik", "estate", "Brevik", "2.0", 2020, "battery-replaced-other-type",
    cars.modules((cars.ENGINE, ()), (cars.BATTERY, ())), cars.BREVIK_SIGNALS,
    acts={
        "do-work": (do("key", position="off"), do("replace_battery", 5.0)),
        "start-and-idle": (do("key", position="start"), do("wait", 60.0)),
        "stop-and-key-on": (do("key", position="off"), do("key", 5.0, position="on"), do("wait", 3.0)),
        "lamps-on": (do("load", name="lamps", on=True), do("wait", 2.0)),
        "key-off": (do("load", name="lamps", on=False), do("key", position="off")),
    },
    answers={"the fourteen bytes": (_DATA,), "Once more, from the page": (_DATA,), "Clamp meter": (Sees("clamp_current"),)},
    fails={
        "wrong-kind": Failing(
            "flooded is entered, glass mat is fitted: the charging voltage is too low",
            answers={"the fourteen bytes": ("01" + _DATA[2:],), "Once more, from the page": ("01" + _DATA[2:],)},
        ),
        "lead-past-the-sensor": Failing("a lead was bolted past the sensor", after={"do-work": (fault("battery lead past the sensor", 0.9),)}),
        "impossible-week": Failing(
            "week 61 is typed twice: the module refuses with 31",
            answers={"the fourteen bytes": (_DATA.replace("33 31", "36 31"),), "Once more, from the page": (_DATA.replace("33 31", "36 31"),)}, verdict=_TELL,
        ),
        "engine-running": Failing("the engine runs: the gate stays closed", after={"koeo": (do("key", position="start"),), "key-on": (do("key", position="start"),)}, verdict=_TELL),
        "alternator-dead": Failing("the alternator does not charge", after={"do-work": (fault("alternator dead"),)}),
    },
)  # fmt: skip

_BOTH = (do("window", 1.0, way="open", automatic=True), do("window", 8.0, way="close", automatic=True))
_HAND = (do("window", 3.2, way="open"), do("window", 9.0, way="close"), do("window", 11.0, way="off"))
WINDOW = Play(
    "window-init-brevik", "estate", "Brevik", "2.0", 2020, "window-regulator",
    cars.modules((cars.ENGINE, ()), (cars.DOOR, cars.PANEL)), cars.BREVIK_SIGNALS,
    options={"warm": True},
    acts={"do-work": (do("key", position="off"), do("disconnect_battery", 5.0), do("charger", on=True))},
    meanwhile={
        "run-both-ways": _BOTH,
        "window-sequence": _HAND,
        "close-on-gauge": (
            do("window", way="open"), do("window", 2.5, way="off"), do("block", where="window", mm=50.0),
            do("window", 1.0, way="close", automatic=True),
        ),
    },
    answers={"highest force": (Sees("pinch_force"),)},
    fails={
        "guide-stiff": Failing("the guide is stiff: nothing is stored", after={"do-work": (fault("window guide stiff", 220.0),)}, verdict=_TELL),
        "motor-slips": Failing("the motor slips: the counted travel is wrong", after={"do-work": (fault("window motor slips", 0.2),)}, verdict=_TELL),
        "door-open": Failing("a door is open: the module refuses with 22", after={"do-work": (do("doors", shut=False),)}, verdict=_TELL),
        "blocked": Failing("something stands in the opening", after={"do-work": (fault("window blocked"),)}, verdict=_TELL),
        "supply-low": Failing(
            "no support, battery nearly flat: the entry condition does not come",
            after={"do-work": (do("charger", on=False), fault("battery nearly flat", 0.02))}, verdict=_TELL,
        ),
    },
)  # fmt: skip

LAMPS = Play(
    "headlamp-level-brevik", "estate", "Brevik", "2.0", 2020, "headlamp",
    cars.modules((cars.ENGINE, ()), (cars.LAMPS, cars.PITCH_ZERO)), cars.BREVIK_SIGNALS,
    options={"warm": True},
    acts={
        "do-work": (do("key", position="off"), do("replace_headlamp", 5.0), do("turn_screw", side="left", turns=-2.5), do("charger", on=True)),
        "lamps-on": (do("load", name="lamps", on=True),),
    },
    answers={"left lamp": (Sees("read_beam", pick="left"),), "right lamp": (Sees("read_beam", pick="right"),)},
    fails={
        "bracket-bent": Failing("the left bracket is bent", after={"do-work": (fault("headlamp bracket bent", 1.5),)}),
        "screw-not-set": Failing(
            "the basic setting by the screw was left out",
            instead={"do-work": (do("key", position="off"), do("replace_headlamp", 5.0), do("turn_screw", side="left", turns=6.0), do("charger", on=True))},
        ),
        "boot-loaded": Failing(
            "the boot is loaded while it learns and while the beams are read",
            after={"do-work": (fault("boot loaded", 60.0),), "lamps-on": (do("wait", 1.0),)}, verdict=Verdict.FAIL,
        ),
        "height-sensors-off": Failing("the rear height sensors are off: pitch outside its window", after={"do-work": (fault("rear height sensors off", 120.0),)}, verdict=_TELL),
        "lamps-off": Failing("the lamps are off: the module refuses with 22", instead={"lamps-on": ()}, verdict=_TELL),
    },
)  # fmt: skip

_DRY: tuple[Do, ...] = (do("key", position="off"),)
ISOLATION = Play(
    "isolation-reading-tarnbeck", "electric", "Tarnbeck", "40", 2024, "hv-parts",
    cars.modules((cars.HIGH_VOLTAGE, ())), cars.TARNBECK_SIGNALS,
    acts={
        "do-work": _DRY,
        "settle-open": (do("key", position="on"), do("wait", 60.0)),
        "settle-closed": (do("key", position="ready"), do("wait", 60.0)),
        "disconnect-out": (do("key", position="off"), do("pull_disconnect", 30.0), do("wait", 610.0)),
        "disconnect-in": (do("fit_disconnect", 30.0), do("key", 10.0, position="on"), do("wait", 5.0)),
    },
    answers={"insulation tester on": (Sees("insulation_tester", {"part": "compressor"}),)},
    fails={
        "coolant": Failing("coolant in the compressor", after={"do-work": (fault("coolant in the compressor"),)}),
        "cable-chafed": Failing("a cable is chafed at the motor", after={"do-work": (fault("cable chafed at the motor"),)}),
        "heater-leaks": Failing("a heater element leaks", after={"do-work": (fault("heater element leaks", 100.0),)}),
        "housing-wet": Failing("the battery's housing is wet", after={"do-work": (fault("battery housing wet", 150.0),)}),
        "left-off": Failing("the car is not switched on for the first recording: the monitor says nothing", instead={"settle-open": (do("key", position="off"),)}, verdict=_TELL),
    },
)  # fmt: skip

MORE = (TEETH, GEARBOX, BATTERY, WINDOW, LAMPS, ISOLATION)
