"""Finding a time in a recording that may be judged.

A window is chosen by what stands round the judged signal (speed, pedal, load, temperature), never by how quiet the
judged signal itself is: choosing the quietest half minute would prove any engine.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import msgspec
import numpy as np

from asleft.model.message import Message, say
from asleft.model.numbers import short, show, with_unit
from asleft.model.reading import Series
from asleft.model.verdict import Reason

from .arrays import Array, Mask
from .estimate import NoEstimate
from .samples import Samples, look_over

#: Length over which readings are averaged before two neighbours are compared for a step, s.
BLOCK_S = 5.0
#: A time without readings longer than this ends a window, s, or five times the usual distance where that is longer.
LONGEST_GAP_S = 2.0


class Gate(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """What must hold all through a window.

    Attributes:
        signal: id.
        unit: of the limits.
        low, high: limits of each reading; None is open.
        max_step: largest change from one 5 s mean to the next (a fan or a compressor that switches), in ``unit``.
        needed: without this signal there is no window; otherwise only a note that it was not seen.
    """

    signal: str
    unit: str
    low: float | None = None
    high: float | None = None
    max_step: float | None = None
    needed: bool = True


class Window(msgspec.Struct, frozen=True):
    """A time that may be judged: begin and end, s; what was not seen in it."""

    begin_s: float
    end_s: float
    notes: tuple[Message, ...] = ()

    @property
    def as_tuple(self) -> tuple[float, float]:
        """Begin and end, s."""
        return self.begin_s, self.end_s


def find_steady_window(
    judged: Series, others: Mapping[str, Series], gates: Sequence[Gate], seconds: float
) -> Window | NoEstimate:
    """The last ``seconds`` of the longest stretch in which every gate holds and the judged signal has readings.

    Works on uneven samples and on times known only to the whole second: only the order within a second is lost.

    Args: judged: the signal to be judged. others: what was recorded beside it, by signal. gates: what must hold.
    """
    samples = look_over(judged, least=2)
    return samples if isinstance(samples, NoEstimate) else window_of(samples, others, gates, seconds)


def window_of(
    samples: Samples, others: Mapping[str, Series], gates: Sequence[Gate], seconds: float
) -> Window | NoEstimate:
    """The same for samples already looked over, n ≥ 2."""
    judged = samples.series
    holds, notes, blame = _unbroken(samples), list[Message](), ""
    slack = max(samples.step_s, judged.u_time_s)
    for gate in gates:
        found = others.get(gate.signal) if gate.signal != judged.signal else judged
        if found is None or len(found) == 0:
            if gate.needed:
                return _missing(gate, samples)
            notes.append(say("proof.not-seen", "{name} was not recorded: not seen", name=_words(gate.signal)))
            continue
        other = look_over(found)
        if isinstance(other, NoEstimate):
            return other
        before = holds
        holds = holds & _gate_holds(gate, other, samples.times)
        if not holds.any():
            return _closed(gate, other, samples, before)
        stretch = _longest(samples.times, holds)
        if not blame and stretch[1] - stretch[0] < seconds - slack:
            blame = f"; {_words(gate.signal)} {_wants(gate)}"
    stretch = _longest(samples.times, holds)
    if stretch[1] - stretch[0] < seconds - slack:
        return _short(samples, stretch, seconds, blame)
    return Window(max(stretch[0], stretch[1] - seconds), stretch[1], tuple(notes))


def _unbroken(samples: Samples) -> Mask:
    """True everywhere but right after a gap."""
    limit = max(LONGEST_GAP_S, 5.0 * samples.step_s) + samples.series.u_time_s
    return np.concatenate([[True], np.diff(samples.times) <= limit])


def _gate_holds(gate: Gate, other: Samples, times: Array) -> Mask:
    """For each judged time, whether the gate holds by the reading last seen there."""
    at = np.clip(np.searchsorted(other.times, times, side="right") - 1, 0, len(other) - 1)
    holds = np.ones(len(other), dtype=bool)
    if gate.low is not None:
        holds &= other.values >= gate.low
    if gate.high is not None:
        holds &= other.values <= gate.high
    if gate.max_step is not None:
        holds &= ~_stepping(other, gate.max_step)
    return holds[at]


def _stepping(other: Samples, max_step: float) -> Mask:
    """True for readings in two neighbouring blocks whose means differ by more than the step allowed."""
    block = np.floor((other.times - other.times[0]) / BLOCK_S).astype(np.int64)
    numbers, index = np.unique(block, return_inverse=True)
    means = np.bincount(index, weights=other.values) / np.bincount(index)
    jump = (np.abs(np.diff(means)) > max_step) & (np.diff(numbers) == 1)
    marked = np.zeros(len(numbers), dtype=bool)
    marked[:-1] |= jump
    marked[1:] |= jump
    return marked[index]


def _longest(times: Array, holds: Mask) -> tuple[float, float]:
    """Begin and end of the longest stretch of True, by time; the later one of equals."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], holds.astype(np.int8), [0]])))
    begins, ends = times[edges[::2]], times[edges[1::2] - 1]
    best = len(begins) - 1 - int(np.argmax((ends - begins)[::-1]))
    return float(begins[best]), float(ends[best])


def _missing(gate: Gate, samples: Samples) -> NoEstimate:
    template = "{name} was not recorded, so nobody can say whether {wants}"
    message = say("proof.gate-missing", template, name=_words(gate.signal), wants=_wants(gate))
    return NoEstimate((Reason.UNSUPPORTED,), message, len(samples), samples.window_s)


def _closed(gate: Gate, other: Samples, samples: Samples, before: Mask) -> NoEstimate:
    seen = other.values if before.all() else other.values[np.isin(other.times, samples.times[before])]
    seen = seen if len(seen) else other.values
    low, high = float(seen.min()), float(seen.max())
    was = show(high, gate.unit) if low == high else f"{show(low, '')} to {show(high, gate.unit)}"
    template = "no time to judge: {name} {wants}, it was {was}"
    message = say("proof.gate-closed", template, name=_words(gate.signal), wants=_wants(gate), was=was)
    return NoEstimate((Reason.WINDOW,), message, len(samples), samples.window_s)


def _short(samples: Samples, stretch: tuple[float, float], seconds: float, blame: str) -> NoEstimate:
    template = "the longest time in which all held was {had}, {need} are needed{blame}"
    shown = {"had": show(stretch[1] - stretch[0], "s"), "need": show(seconds, "s"), "blame": blame}
    return NoEstimate((Reason.WINDOW,), say("proof.window-short", template, **shown), len(samples), stretch)


def _wants(gate: Gate) -> str:
    parts = list[str]()
    if gate.low is not None:
        parts.append(f"must be at least {with_unit(short(gate.low), gate.unit)}")
    if gate.high is not None:
        parts.append(f"must be at most {with_unit(short(gate.high), gate.unit)}")
    if gate.max_step is not None:
        parts.append(f"must not step by more than {with_unit(short(gate.max_step), gate.unit)}")
    return " and ".join(parts) or "must be seen"


def _words(signal: str) -> str:
    return signal.replace("-", " ")
