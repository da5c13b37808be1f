"""What the record must say of each failing run of the demo book: how it ended, by what, and the cause that is true.

A failing run changes physics or the person's acts, never a result; what it comes to is told by the record alone. The
true cause stands among those that the procedure lists for what was seen::

    FAILS["brake-pressure-zero-brevik"]["pedal-hangs"].cause    # pressure was in the system while it learned
"""

from __future__ import annotations

from dataclasses import dataclass

from asleft.model.verdict import RunEnd

_SUPPLY_OFF = "no support unit on the battery"
_LOCK = "lock not reached, or the wheel not brought back to the middle"


@dataclass(frozen=True)
class Ends:
    """How a failing run ends.

    Attributes:
        cause: what is wrong at the car, as the record names it among its causes.
        criteria: not passed, by id; none where the run did not come to its proof.
        end: of the run. says: part of the reason on the record.
    """

    cause: str
    criteria: tuple[str, ...] = ()
    end: RunEnd = RunEnd.COMPLETED
    says: str = ""


def refused(cause: str, says: str = "The module refused") -> Ends:
    """The module refuses the start, or its routine ends without a stored value."""
    return Ends(cause, end=RunEnd.REFUSED, says=says)


def gated(cause: str, says: str) -> Ends:
    """An entry condition does not come: nothing was sent."""
    return Ends(cause, end=RunEnd.REFUSED, says=says)


def stopped(cause: str, says: str) -> Ends:
    """What must keep holding was lost while it ran."""
    return Ends(cause, end=RunEnd.STOPPED, says=says)


#: Procedure -> failing run -> what its record says.
FAILS: dict[str, dict[str, Ends]] = {
    "brake-pressure-zero-brevik": {
        "pedal-hangs": Ends("pressure was in the system while it learned", ("pressure-rest",)),
        "sensor-offset": refused("offset beyond the window: sensor or plug"),
        "foot-on-brake": refused("foot on the brake, or the pedal hangs", "22 to 31015B12"),
        "supply-low": gated(f"supply below 11.8 V, {_SUPPLY_OFF}", "control module voltage"),
        "pedal-hangs-later": Ends("pedal or booster hangs", ("pressure-rest",)),
    },
    "steering-angle-zero-brevik": {
        "wheel-not-straight": Ends("hand wheel not straight while it learned", ("straight",)),
        "alignment": Ends("tie rods not aligned", ("straight",)),
        "sensor-beyond": refused("hand wheel a turn or a spline off"),
        "supply-low": gated(f"supply below 11.8 V, {_SUPPLY_OFF}", "control module voltage"),
        "one-way-only": Ends("wind or a sloping road: drive both ways", ("straight",)),
    },
    "steering-end-stops-brevik": {
        "not-to-the-lock": refused(_LOCK),
        "tie-rod-bent": refused("tyre or cable in the way, tie rod bent"),
        "tie-rod-slightly-bent": Ends("tie rod bent, rack not centred", ("alike",)),
        "not-back-to-the-middle": refused(_LOCK),
        "engine-off": gated("engine not running", "engine speed"),
    },
    "pedal-rest-learn-aldra": {
        "mat-holds": Ends("pedal held by the mat while it learned", ("rest-stored",)),
        "bracket-bent": gated("bracket bent: the pedal does not come back", "accelerator pedal d"),
        "foot-on": gated("foot on the pedal, or held by the mat", "accelerator pedal d"),
        "sensor-noisy": stopped("sensor noisy, plug loose", "accelerator pedal d"),
        "not-to-the-floor": Ends("pedal not pressed to the floor", ("full",)),
    },
    "egr-learn-dunmere": {
        "sticks": refused("valve sticks, gear worn"),
        "gear-worn": refused("valve sticks, gear worn"),
        "carbon": refused("carbon on the seat: travel too short"),
        "sensor-offset": refused("sensor beyond its window"),
        "sticks-later": Ends("valve sticks", ("follows",)),
    },
    "crank-tooth-learn-aldra": {
        "foot-stays-down": refused("the foot stayed down: no run-down without combustion"),
        "two-overruns-only": refused("fewer than three run-downs in the time"),
        "wrong-wheel": refused("wrong target wheel: errors outside their window"),
        "damper-loose": refused("damper loose, wheel damaged: run-downs differ"),
        "misfire": Ends("misfire", ("idle-spread",)),
    },
    "trans-learn-brevik": {
        "brake-released": refused("foot brake released, pedal touched", "8F"),
        "oil-cold": gated("gearbox oil too cold or too hot", "gearbox oil temperature"),
        "clutch-worn": refused("clutch worn: fill outside its window"),
        "misfire": stopped("engine stopped, or idles too low: misfire", "engine speed"),
        "oil-low": Ends("oil low", ("grips-1", "grips-2")),
    },
    "battery-data-brevik": {
        "wrong-kind": Ends("wrong kind entered", ("charging",)),
        "lead-past-the-sensor": Ends("a lead past the sensor", ("sensor-sees",)),
        "impossible-week": refused("kind, capacity or date that cannot be: type again", "31 to 2E2B11"),
        "engine-running": gated("engine running, or still warm", "engine speed"),
        "alternator-dead": Ends("alternator, or a load left on", ("charging",)),
    },
    "window-init-brevik": {
        "guide-stiff": refused("guide stiff, motor slips"),
        "motor-slips": refused("guide stiff, motor slips"),
        "door-open": refused("a door open", "22 to 310162A1"),
        "blocked": refused("something in the opening"),
        "supply-low": gated(f"supply below 11.9 V, {_SUPPLY_OFF}", "control module voltage"),
    },
    "headlamp-level-brevik": {
        "bracket-bent": Ends("bracket bent, screw not set", ("left",)),
        "screw-not-set": Ends("bracket bent, screw not set", ("left",)),
        "boot-loaded": Ends("boot loaded while it learned", ("left", "right")),
        "height-sensors-off": refused("height sensors off: pitch outside its window"),
        "lamps-off": refused("lamps off", "22 to 31017E21"),
    },
    "isolation-reading-tarnbeck": {
        "coolant": Ends("coolant in the compressor", ("closed", "tester")),
        "cable-chafed": Ends("cable chafed at the motor", ("closed",)),
        "heater-leaks": Ends("heater element leaks", ("closed",)),
        "housing-wet": Ends("battery housing wet: keep away, qualified persons only", ("open", "closed")),
        "left-off": Ends("car not switched on, or the monitor had not measured yet", ("open",)),
    },
}
