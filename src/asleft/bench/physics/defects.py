"""What is wrong with a powertrain: numbers that are zero, or one, on a sound car."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar


@dataclass
class Defects:
    """Defects of a powertrain.

    Attributes:
        leak_m2: unmetered effective area between meter and valves, m². meter_gain: of the air meter, 1 is right.
        purge_stuck: the purge valve's least opening, 0 to 1. pedal_rest: what else than a foot holds the pedal down,
        0 to 1 of its travel. hidden_a: drawn with the key on by something nobody switched, A. contact_ohm: bad contact
        before the engine module. dip_v: the module sees no more than this while its throttle learns, V; 0: no dip.
        no_alternator: it gives nothing.
    """

    CHANGES: ClassVar[tuple[str, ...]] = (
        "leak_m2", "meter_gain", "purge_stuck", "pedal_rest", "hidden_a", "contact_ohm", "dip_v", "no_alternator",
    )  # fmt: skip

    leak_m2: float = 0.0
    meter_gain: float = 1.0
    purge_stuck: float = 0.0
    pedal_rest: float = 0.0
    hidden_a: float = 0.0
    contact_ohm: float = 0.0
    dip_v: float = 0.0
    no_alternator: bool = False
