"""Plays of the demo book at the estate: list of fitted modules, parking brake."""

from __future__ import annotations

from asleft.model.verdict import Verdict

from . import demo_book_cars as cars
from .bench_key import BenchKey
from .demo_book import Failing, Play, do
from .demo_book_plays import fault
from .hands import Sees

_TELL = Verdict.CANNOT_TELL

_PLUGGED = (do("key", position="off"), do("plug_module", 5.0, name="radio"), do("charger", on=True))
FITTED = Play(
    "fitted-list-brevik", "estate", "Brevik", "2.0", 2020, "retrofit",
    cars.modules((cars.ENGINE, ()), (cars.GATEWAY, cars.FITTED)), cars.BREVIK_SIGNALS,
    options={"warm": True, "lacking": ("radio",)},
    acts={"do-work": _PLUGGED},
    doing={"Wait until the car sleeps": (do("key", position="off"), do("charger", on=False), do("wait", 1800.0))},
    answers={"contradict each other": ("fitted",), "small": (Sees("clamp_small_current"),), "car asleep": (Sees("clamp_small_current"),)},
    key=BenchKey(),
    fails={
        "taken-for-not-fitted": Failing(
            "the wrong answer at the screen: the new module stays out of the list",
            answers={"contradict each other": ("not fitted",)},
        ),
        "removed-and-kept": Failing(
            "a module was removed, and the answer at the screen keeps it in the list: the car does not sleep",
            instead={"do-work": (do("key", position="off"), do("unplug_module", 5.0, name="amplifier"), do("charger", on=True))},
        ),
        "comes-off-its-plug": Failing(
            "another module comes off its plug after the list was written",
            after={"key-off": (do("unplug_module", name="telematics"),)},
        ),
        "engine-running": Failing(
            "the engine runs: the gate stays closed",
            after={"koeo": (do("key", position="start"),), "key-on": (do("key", position="start"),)}, verdict=_TELL,
        ),
        "supply-low": Failing(
            "no support, battery nearly flat: the entry condition does not come",
            after={"do-work": (do("charger", on=False), fault("battery nearly flat", 0.02))}, verdict=_TELL,
        ),
    },
)  # fmt: skip

_PADS = (do("wait", 60.0), do("replace_pads"))
BRAKE = Play(
    "parking-brake-brevik", "estate", "Brevik", "2.0", 2020, "rear-pads-parking-brake",
    cars.modules((cars.ENGINE, ()), (cars.PARKING, cars.CONTACTS)), cars.BREVIK_SIGNALS,
    options={"warm": True},
    acts={"do-work": (do("key", position="off"), do("charger", 5.0, on=True))},
    doing={"Fit discs and pads": _PADS},
    answers={
        "Turn the left": (Sees("turn_wheel", {"side": "left"}),),
        "Turn the right": (Sees("turn_wheel", {"side": "right"}),),
        "at the left rear hub": (Sees("turn_wheel", {"side": "left"}),),
        "at the right rear hub": (Sees("turn_wheel", {"side": "right"}),),
    },
    fails={
        "pistons-not-brought-up": Failing(
            "the pistons were not brought up to their nuts: the motors run to the end without clamping",
            doing={"Fit discs and pads": (*_PADS[:1], do("replace_pads", pressed=False), fault("pistons not brought up"))}, verdict=_TELL,
        ),
        "left-caliper-stiff": Failing(
            "the left caliper is stiff: it ends without a stored contact", after={"do-work": (fault("left caliper stiff"),)}, verdict=_TELL,
        ),
        "right-motor-weak": Failing(
            "the right motor is weak: it stalls", after={"do-work": (fault("right brake motor weak"),)}, verdict=_TELL,
        ),
        "left-caliper-a-little-stiff": Failing(
            "the left caliper is a little stiff: stored, yet its wheel gives way too early", after={"do-work": (fault("left caliper stiff", 4.2),)},
        ),
        "support-taken-off": Failing(
            "the battery support is taken off while the pads are fitted: the supply sags, the gate before applying stays closed",
            doing={"Fit discs and pads": (*_PADS, do("charger", on=False), fault("battery nearly flat", 0.02), do("wait", 20.0))}, verdict=_TELL,
        ),
        "supply-low": Failing(
            "no support, battery nearly flat: the entry condition does not come",
            after={"do-work": (do("charger", on=False), fault("battery nearly flat", 0.02))}, verdict=_TELL,
        ),
    },
)  # fmt: skip

PARTS = (FITTED, BRAKE)
