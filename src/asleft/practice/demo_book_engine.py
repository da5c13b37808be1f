"""Plays of the demo book at the engine: idle relearn, throttles, injectors."""

from __future__ import annotations

from itertools import pairwise

from asleft.book.procedure import Way
from asleft.model.verdict import Verdict

from . import demo_book_cars as cars
from .bench_key import BenchKey
from .demo_book import Failing, Play, do
from .demo_book_plays import fault
from .driver import COUNT_IN_S, HAND_S, SEQUENCES, Course
from .hands import Do, Said, Sees
from .other_tester import ACT as OTHER_TESTER

_TELL = Verdict.CANNOT_TELL


def in_turn(course: Course, begins_s: float = 0.0) -> tuple[Do, ...]:
    """A course of the bench driver as acts, each after the one before."""
    moments = [0.0, *(at for at, _, _ in course)]
    waits = [b - a for a, b in pairwise(moments)]
    first = (begins_s + waits[0], *waits[1:])
    return tuple(Do(act, wait, args) for wait, (_, act, args) in zip(first, course, strict=True))


_SEQUENCE = in_turn(SEQUENCES["idle-sequence"], COUNT_IN_S + HAND_S)
_HELD_SHORT = (*_SEQUENCE[:-1], Do("brake", 7.0, {"pressed": False}))
IDLE = Play(
    "idle-relearn-aldra", "petrol", "Aldra", "1.6", 2019, "idle-valve",
    cars.modules((cars.ENGINE, cars.IDLE_AIR)), cars.ALDRA_SIGNALS,
    options={"warm": True},
    acts={
        "do-work": (do("key", position="off"), do("wait", 5.0), do("charger", on=True)),
        "warm-idle": (do("key", position="start"), do("wait", 65.0)),
        "other-tester-idle": (do(OTHER_TESTER, request=0x7E0, start="31015A32", work_s=20.0),),
    },
    meanwhile={"idle-sequence": _SEQUENCE},
    way=Way.BY_HAND,
    more_ways=(Way.BY_WIRE, Way.BESIDE),
    answers={"report": ("it gives no report",)},
    fails={
        "air-leak": Failing(
            "a hose leaks: the relearn is taken, and the trims show that air comes past the meter",
            after={"do-work": (fault("intake leak", 2.5),)},
        ),
        "misfire": Failing(
            "it misfires: the idle is too restless", after={"idle-sequence": (fault("misfire", 0.06),)},
        ),
        "brake-let-up-too-soon": Failing(
            "the foot brake is let up too soon: in time as far as it is seen, yet nothing is learned",
            instead={"idle-sequence": _HELD_SHORT},
        ),
        "pedal-let-up-too-soon": Failing(
            "the pedal is let up too soon: the miss is named, three times",
            after={"do-work": (fault("press short", 5.0),)}, verdict=_TELL,
        ),
        "engine-cold": Failing(
            "the engine is cold: the entry condition does not come", after={"warm-idle": (fault("engine cold", 40.0),)}, verdict=_TELL,
        ),
        "air-conditioning-on": Failing(
            "the air conditioning is switched on while it is measured: no half minute of quiet idle, nobody can tell",
            instead={"idle-sequence": (*_SEQUENCE, do("load", 16.5, name="cooler", on=True))}, verdict=_TELL,
        ),
    },
)  # fmt: skip


def _labels(*of: int) -> dict[str, tuple[Said, ...]]:
    """What is read for cylinders 1 to 4: the label of the injector in each, or of those ``of``."""
    return {
        f"injector of cylinder {cylinder}": (Sees("read_injector_label", {"cylinder": read}),)
        for cylinder, read in enumerate(of or (1, 2, 3, 4), 1)
    }


INJECTORS = Play(
    "injector-codes-dunmere", "diesel", "Dunmere", "1.9", 2019, "diesel-injectors",
    cars.modules((cars.ENGINE, cars.INJECTORS)), cars.DUNMERE_SIGNALS,
    options={"warm": True},
    acts={
        "do-work": (
            do("key", position="off"), do("replace_injector", 5.0, cylinder=2), do("replace_injector", cylinder=3),
            do("charger", on=True),
        ),
        "start-and-idle": (do("key", position="start"), do("wait", 45.0)),
    },
    answers=_labels(),
    key=BenchKey(),
    fails={
        "cylinders-exchanged": Failing(
            "the labels of cylinders 2 and 3 are read for one another: every code is valid, each on the wrong cylinder",
            answers=_labels(1, 3, 2, 4),
        ),
        "counted-from-the-wrong-end": Failing(
            "the cylinders are counted from the gearbox", answers=_labels(4, 3, 2, 1),
        ),
        "injector-worn": Failing("another injector is worn: its correction is large", after={"do-work": (fault("injector 3 worn"),)}),
        "cylinder-weak": Failing("compression of cylinder 2 is low", after={"do-work": (fault("cylinder 2 weak"),)}),
        "old-code-left": Failing(
            "two injectors changed places after their labels were photographed",
            instead={"start-and-idle": (
                do("key", position="off"), do("swap_injectors", 5.0, one=1, other=4), do("key", 5.0, position="on"),
                do("key", 3.0, position="start"), do("wait", 45.0),
            )},
        ),
        "look-alike": Failing(
            "a B is typed as 8 and an O for a 0: refused at the screen by its check, and left open",
            answers={"Type it again": ("stop here",), "injector of cylinder 1": ("O8B2I1ZZ",)}, verdict=_TELL,
        ),
        "supply-low": Failing(
            "no support, battery nearly flat: the entry condition does not come",
            after={"do-work": (do("charger", on=False), fault("battery nearly flat", 0.02))}, verdict=_TELL,
        ),
    },
)  # fmt: skip

_REST = (do("pedal", 2.0, percent=100.0), do("pedal", 2.0, percent=0.0))
CABLE = Play(
    "throttle-rest-cable-aldra", "cable", "Aldra", "1.6", 2006, "cable-throttle-adjusted",
    cars.ALDRA_LINE,
    options={"warm": True},
    acts={
        "do-work": (do("key", position="off"), do("replace_sensor", 5.0)),
        "pedal-down": (do("pedal", percent=100.0), do("wait", 1.0)),
        "pedal-off": (do("pedal", percent=0.0), do("wait", 1.0)),
        "start-and-idle": (do("key", position="start"), do("wait", 10.0)),
    },
    meanwhile={"cable-rest-sequence": _REST},
    on_line=True,
    fails={
        "foot-rests": Failing(
            "the foot rests on the pedal afterwards: the module does not see it off, and does not learn",
            instead={"cable-rest-sequence": (*_REST[:1], do("pedal", 2.0, percent=3.0), do("pedal", 9.0, percent=0.0))},
        ),
        "let-up-at-once": Failing(
            "the pedal is let up at once: nothing is learned, and the module says nothing",
            instead={"cable-rest-sequence": (*_REST[:1], do("pedal", 0.2, percent=0.0))},
        ),
        "not-to-the-floor": Failing(
            "the mat keeps the pedal from the floor: nothing is learned",
            instead={"cable-rest-sequence": (do("pedal", 2.0, percent=60.0), *_REST[1:])},
        ),
        "too-late": Failing(
            "it is begun 25 s after key on", instead={"cable-rest-sequence": (do("wait", 22.0), *_REST)},
        ),
        "sensor-turned-after": Failing(
            "the sensor turns in its holes after the learn", after={"pedal-down": (fault("sensor shifted", 4.0),)},
        ),
        "plate-sensor-beyond": Failing(
            "the cable is too tight: the rest reading is outside, the gate stays closed",
            after={"do-work": (do("pedal", percent=12.0),)}, verdict=_TELL,
        ),
    },
)  # fmt: skip

_OUT = (do("key", position="off"), do("remove_throttle", 5.0))
_IN = (do("refit_throttle"), do("charger", on=True))
CHOSEN = Play(
    "throttle-stop-learn-aldra", "petrol", "Aldra", "1.6", 2019, "throttle-removed-refitted",
    cars.modules((cars.ENGINE, cars.STOP)), cars.ALDRA_SIGNALS,
    options={"warm": True},
    acts={"do-work": (*_OUT, do("clean_throttle", fraction=1.0), *_IN)},
    fails={
        "not-cleaned": Failing(
            "the bore was not cleaned: the module stores, the rest reading wanders",
            instead={"do-work": (*_OUT, do("clean_throttle", fraction=0.0), *_IN)},
        ),
        "pedal-held": Failing("the mat holds the pedal: the gate stays closed", after={"do-work": (do("pedal", percent=20.0),)}, verdict=_TELL),
        "supply-dips": Failing("the supply dips while it learns: the module ends it with 93", after={"do-work": (fault("supply dips while learning"),)}, verdict=_TELL),
        "plate-sensor-noisy": Failing("the plate's sensor is noisy", after={"do-work": (fault("plate sensor noisy", 3.0),)}),
        "engine-running": Failing(
            "the engine runs: the gate stays closed",
            after={"koeo": (do("key", position="start"),), "key-on": (do("key", position="start"),)}, verdict=_TELL,
        ),
        "wrong-line-typed": Failing(
            "the line of an older part is typed instead of taking the one chosen: the module knows no such routine",
            answers={"Routine identifier for this module": ("type it from the manual",), "Type the routine identifier": ("0x5A21",)}, verdict=_TELL,
        ),
    },
)  # fmt: skip

ENGINE = (IDLE, INJECTORS, CABLE, CHOSEN)
