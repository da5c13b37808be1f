"""Whether a cable or a motor moves the throttle: decided from the picture's live readings, confirmed by a person.

A module that moves the plate gives a commanded position and the pedal's sensors; one behind a cable gives the position
only. A car whose plate is moved by a cable is led from the electronic lower stop to the procedure of its own. Pure.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

import msgspec

from asleft.book.functions import name_of
from asleft.book.procedure import Throttle
from asleft.model.message import say
from asleft.model.module import Picture
from asleft.model.work import Grade, Need
from asleft.plan.needs import NeedsFound

#: Answer kept among those on fittings.
CABLE = "cable-throttle"
_WORDS = "a throttle moved by a cable (its module gives a position, but no commanded one and no pedal sensor)"
_STOP, _REST = "throttle-stop-learn", "throttle-idle-switch-cable"
_BY_MOTOR = ("throttle-commanded", "accelerator-pedal-d")


def throttle_of(pictures: Iterable[Picture]) -> Throttle | None:
    """What the newest picture with live readings shows; None: nothing that decides it."""
    for picture in sorted((p for p in pictures if not p.not_taken), key=lambda p: p.start_s, reverse=True):
        given = {reading.signal for reading in picture.readings if reading.value is not None}
        if "throttle-absolute" not in given:
            continue
        by_motor = [signal in given for signal in _BY_MOTOR]
        return Throttle.ELECTRONIC if all(by_motor) else None if any(by_motor) else Throttle.CABLE
    return None


def led(
    found: NeedsFound, pictures: Iterable[Picture], fitted: Mapping[str, bool], ids: Mapping[str, str] | None = None
) -> NeedsFound:
    """Needs for the kind of throttle that this car has.

    Args: fitted: answers so far. ids: procedures by function.
    Returns: with the question where signals say cable and nobody has looked; led to the cable's own function once
        somebody agreed; with a note where somebody contradicts the signals.
    """
    wanted = any(n.function == _STOP and n.grade is not Grade.NOT_NEEDED for n in found.needs)
    if not wanted or throttle_of(pictures) is not Throttle.CABLE:
        return found
    if CABLE not in fitted:
        return msgspec.structs.replace(found, questions={**found.questions, CABLE: _WORDS})
    if not fitted[CABLE]:
        text = "the signals say that a cable moves the throttle, the person at the car says no: look again"
        return msgspec.structs.replace(found, notes=(*found.notes, say("throttle.contradiction", text)))
    own, others = (ids or {}).get(_REST, ""), {n.function for n in found.needs}
    kept = (n for n in found.needs if n.function != _STOP or _REST not in others)
    return msgspec.structs.replace(found, needs=tuple(_own(n, own) if n.function == _STOP else n for n in kept))


def _own(need: Need, procedure: str) -> Need:
    why = say("throttle.cable", "a cable moves its throttle, as the signals show and a person saw: its own procedure")
    reasons = (*need.reasons, why)
    return msgspec.structs.replace(need, function=_REST, name=name_of(_REST), reasons=reasons, procedure=procedure)
