"""What a person hears and sees for a sequence by hand: count-in, then every act at its time. Pure.

The same cues serve the rehearsal, which needs no car, and the sequence itself.
"""

from __future__ import annotations

import msgspec

from asleft.model.step_more import Edge, Mark, Sound, TimedSequence

#: Count-in: so many beats, a second apart.
COUNT_IN = 3


class Cue(msgspec.Struct, frozen=True):
    """One cue.

    Attributes:
        at_s: after the first act's cue, s; the count-in has negative times.
        text: large words. sound: the tool's own sounds.
        opens_s, closes_s: when the act counts, after the first act, s; None for the count-in.
        watched: a signal shows the act.
    """

    at_s: float
    text: str
    sound: Sound
    opens_s: float | None = None
    closes_s: float | None = None
    watched: bool = False


def cues(step: TimedSequence) -> tuple[Cue, ...]:
    """All cues in order of time."""
    count = tuple(Cue(float(-n), str(n), Sound.WAIT) for n in range(COUNT_IN, 0, -1))
    return count + tuple(_cue(mark) for mark in step.marks)


def length_s(step: TimedSequence) -> float:
    """From the first act to the last moment at which the last one counts, s."""
    return max((m.at_s + m.late_s for m in step.marks), default=0.0)


def _cue(mark: Mark) -> Cue:
    sound = mark.sound
    if sound is Sound.TURN and mark.edge in (Edge.RISES, Edge.FALLS) and "pedal" in mark.signal:
        sound = Sound.PRESS if mark.edge is Edge.RISES else Sound.RELEASE
    opens, closes = mark.at_s - mark.early_s, mark.at_s + mark.late_s
    return Cue(mark.at_s, mark.act, sound, max(0.0, opens), closes, bool(mark.signal))
