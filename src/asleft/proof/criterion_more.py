"""More forms of criteria as data: changes, courses, answers to something sudden, steering, learned values.

The forms of ``criterion_data`` and these are one closed set. A form that compares two recordings names the other one
as ``before`` (earlier, the same signal), ``back`` (the other direction or heading).
"""

from __future__ import annotations

from typing import Annotated, Literal

import msgspec

from .criterion_common import IDLE_GATES, LimitData, Seconds, Slug
from .moment import Moment
from .window import Gate


class _Form(msgspec.Struct, frozen=True, forbid_unknown_fields=True, tag_field="form"):
    """What every form has.

    Attributes: id: slug. name: words. saved: name of its recordings. limits: what it is held against.
    """

    id: Slug
    name: str
    saved: str
    limits: LimitData


class SteadyMean(_Form, frozen=True, tag="steady-mean"):
    """Mean of any signal over a steady window.

    Attributes: seconds: length. gates: what must hold in it. max_drift: as for an idle, in the signal's unit.
    """

    signal: str
    max_drift: float
    seconds: Seconds = 10.0
    gates: tuple[Gate, ...] = ()


class MeanDifference(_Form, frozen=True, tag="mean-difference"):
    """Mean of first less second over a steady window: actual less commanded, one wheel less another.

    Attributes: first, second: of one unit. max_drift: of their difference. Other fields as for a mean.
    """

    first: str
    second: str
    max_drift: float
    seconds: Seconds = 10.0
    gates: tuple[Gate, ...] = ()


class Change(_Form, frozen=True, tag="change"):
    """Mean in these recordings less the mean in earlier ones of the same car and sensor: what is common drops out.

    Attributes: before: name of the earlier recordings. Other fields as for a mean.
    """

    before: str
    signal: str
    max_drift: float
    seconds: Seconds = 10.0
    gates: tuple[Gate, ...] = ()


class Rate(_Form, frozen=True, tag="rate"):
    """Change a minute of a slowly moving signal: limits in ``V/min``, ``K/min``, ``%/min`` or ``kPa/min``."""

    signal: str


class LevelAfter(_Form, frozen=True, tag="level-after"):
    """Where a slowly moving signal will stand at this rate: the supply at the end of a long download.

    Attributes: minutes: after the last reading, min.
    """

    signal: str
    minutes: Annotated[float, msgspec.Meta(gt=0.0)]


class _Sudden(_Form, frozen=True):
    """Fields of the answer to something sudden.

    Attributes:
        moment: what shows when it came: a load switched on, a pedal let go.
        level: held against, in the signal's unit; None: the mean before. Give the idle target after a throttle let go.
        band: within this of the level it is back, in the signal's unit.
        before_s, after_s: looked at before and after the moment, s.
    """

    moment: Moment
    signal: str = "engine-speed"
    level: float | None = None
    band: float = 25.0
    before_s: Seconds = 5.0
    after_s: Seconds = 15.0


class Dip(_Sudden, frozen=True, tag="dip"):
    """How far a signal falls below its level after something sudden."""


class Recovery(_Sudden, frozen=True, tag="recovery"):
    """How long after something sudden until the signal is back within the band and stays there; limits in ``s``."""


class SupplySag(_Form, frozen=True, tag="supply-sag"):
    """Fall of the supply under a load.

    Attributes: saved: recorded with the load on. before: recorded without it, in the same way.
    """

    before: str
    signal: str = "control-module-voltage"


class SupplyRipple(_Form, frozen=True, tag="supply-ripple"):
    """Peak to peak of the supply round its slow course, as far as the reading rate shows it."""

    signal: str = "control-module-voltage"


class SteeringStraight(_Form, frozen=True, tag="steering-straight"):
    """Steering-wheel angle going straight, mean of both directions of one road; limits in ``°``.

    Attributes:
        saved, back: recordings of the two directions.
        u_yaw: standard uncertainty of the yaw rate's own zero, °/s.
        degrees_per_yaw: steering-wheel angle for 1 °/s at 50 km/h, °.
    """

    back: str
    angle: str = "steering-angle"
    yaw: str = "yaw-rate"
    speed: str = "vehicle-speed"
    u_yaw: float = 0.05
    degrees_per_yaw: float = 3.4


class TwoHeadingsOf(_Form, frozen=True, tag="two-headings"):
    """What two headings on the same marks tell apart.

    Attributes:
        saved, back: recordings at rest, the car turned by 180° in between.
        most_sd, most_trend: what counts as still, in the signal's unit, and a second.
        marks_deg: half-width of how exactly the wheels stand on the marks, °.
        part: ``bias`` of the sensor (``m/s²``) or ``slope`` of the floor (``m/s²`` or ``°``).
    """

    back: str
    signal: str
    most_sd: float
    most_trend: float
    marks_deg: float = 0.1
    part: Literal["bias", "slope"] = "bias"


class LearnedRoom(_Form, frozen=True, tag="learned-room"):
    """Distance of a learned value to the nearer end of its window, in % of the window; negative outside.

    Attributes: window: ends of learning in the signal's unit, from the manual.
    """

    signal: str
    window: tuple[float, float]

    def __post_init__(self) -> None:
        if not self.window[0] < self.window[1]:
            raise ValueError("window: the lower end first")


class LearnedRepeat(_Form, frozen=True, tag="learned-repeat"):
    """Range of a learned value over key cycles. ``cycles``: fewest."""

    signal: str
    cycles: int = 2


class ColdAgreement(_Form, frozen=True, tag="cold-agreement"):
    """Largest difference of temperatures of a car that stood cold, before the start; limits in ``K``.

    Attributes: signals: two or more temperatures.
    """

    signals: tuple[str, ...] = ("coolant-temperature", "intake-air-temperature")

    def __post_init__(self) -> None:
        if len(self.signals) < 2:
            raise ValueError("signals: two temperatures at least")


class LeakageChange(_Form, frozen=True, tag="leakage-change"):
    """Change of leakage since earlier recordings at one position of the plate, mm², where its resolution allows that.

    Attributes:
        before: name of the earlier recordings.
        plate: position of the plate. area_per_unit: effective area for one unit of it, mm².
        Other fields as for the flow area.
    """

    before: str
    area_per_unit: Annotated[float, msgspec.Meta(gt=0.0)]
    plate: str = "throttle-absolute"
    flow: str = "mass-air-flow"
    barometer: str = "barometric-pressure"
    intake: str = "intake-air-temperature"
    manifold: str = "manifold-pressure"
    seconds: Seconds = 30.0
    gates: tuple[Gate, ...] = IDLE_GATES
    max_drift: float = 0.3
