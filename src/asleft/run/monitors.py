"""Which self-tests of the car remain after a clear, and what each usually needs. Pure.

What a monitor needs differs by car and stands in its manual; what is said here is common practice, no source. A monitor
that the car does not have is not listed.
"""

from __future__ import annotations

import msgspec

from asleft.codec.obd.readiness import MonitorKind, Readiness
from asleft.model.message import Message, say
from asleft.model.module import Picture

_NEEDS: dict[MonitorKind, str] = {
    MonitorKind.MISFIRE: "runs all the time; a few minutes at varied load",
    MonitorKind.FUEL: "warm engine in closed loop, a few minutes at idle and at steady speed",
    MonitorKind.COMPONENTS: "runs all the time; key on and a short drive",
    MonitorKind.CATALYST: "warm engine, 5 to 10 minutes at steady speed, then coasting",
    MonitorKind.HEATED_CATALYST: "cold start, then steady driving",
    MonitorKind.EVAPORATIVE: "overnight cold start, tank between 15 and 85 %, no refuelling; may take days",
    MonitorKind.SECONDARY_AIR: "cold start",
    MonitorKind.AIR_CONDITIONING: "as the car's manual says",
    MonitorKind.OXYGEN_SENSOR: "warm engine, steady speed with some changes of load",
    MonitorKind.OXYGEN_HEATER: "cold start, two minutes at idle",
    MonitorKind.EGR: "warm engine, steady speed, then coasting with the pedal released",
    MonitorKind.HYDROCARBON_CATALYST: "warm engine, steady driving",
    MonitorKind.NOX: "warm engine, longer steady driving",
    MonitorKind.BOOST: "warm engine, several strong accelerations where the road allows",
    MonitorKind.EXHAUST_SENSOR: "warm engine, steady speed with some changes of load",
    MonitorKind.PARTICULATE_FILTER: "longer steady drive",
}


class Remaining(msgspec.Struct, frozen=True):
    """A monitor that has not finished, and what it usually needs."""

    kind: MonitorKind
    message: Message


def remaining(readiness: Readiness) -> tuple[Remaining, ...]:
    """Monitors that the car has and that have not finished since the clear, in the standard's order."""
    text = "{name}: {needs}"
    return tuple(
        Remaining(kind, say("monitor.needs", text, name=kind.value.replace("-", " "), needs=_NEEDS[kind]))
        for kind in readiness.incomplete
    )


def remaining_in(picture: Picture) -> tuple[Remaining, ...]:
    """The same from a picture, all modules together; what was not read tells nothing."""
    left: set[MonitorKind] = set()
    for note in picture.notes:
        _, _, name = note.key.partition(".readiness.")
        if name and note.absence is None and note.value == "incomplete":
            left.add(MonitorKind(name))
    complete = {kind: kind not in left for kind in MonitorKind}
    return remaining(Readiness(lamp=False, codes=0, compression=False, complete=complete))
