"""Words and figures for what a run left behind: its way, its turn, who marked what, what was not watched. Pure."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from typing import Any

from asleft.event.body import SequenceTimed
from asleft.event.fold import RunState

#: Ways of carrying a procedure out, of equal rank.
WAYS = {"by-wire": "by wire", "beside": "beside the other tester", "by-hand": "by hand"}
#: States of a run, as the record names them -> words for the person at the car.
STANDS = {
    "preparing": "being prepared",
    "waiting": "waits for its entry conditions",
    "acting": "steps under way",
    "paused": "paused between two steps; the entry conditions are measured again before it goes on",
    "closing": "modules go back to their default session",
    "cutting": "being ended early: what still moves is stopped",
    "proving": "measured values are judged",
    "judged": "judged; the end of the job completes it",
}
_BYTES = re.compile(r"([0-9A-Fa-f]{2}[ ;,:]*){2,}|.*\b(bytes|to) .*|(0x)?[0-9A-Fa-f]+")


def is_bytes(text: str) -> bool:
    """Whether a line beside a question is bytes or an address, to be read letter by letter."""
    return _BYTES.fullmatch(text) is not None and not text.endswith(".")


def stands(run: RunState) -> str:
    """Where a run stands, in words; empty once it has ended."""
    return "" if run.end is not None else STANDS.get(run.progress, "")


def minutes_left(seconds: float) -> str:
    """A time still to go, no finer than it is known."""
    if seconds < 60.0:
        return "less than a minute"
    if seconds < 600.0:
        return f"about {round(seconds / 60.0)} min"
    return f"about {5 * round(seconds / 300.0)} min"


def progress_words(progress: Mapping[str, Any]) -> tuple[str, int]:
    """Step in hand, time left and whose experience it is; and the share done, percent."""
    step, of = int(progress["step"]), int(progress["of"])
    whose = "this shop's earlier runs" if progress.get("by") == "shop" else "the procedure's own times"
    left = minutes_left(float(progress["remaining_s"]))
    share = round(100.0 * min(1.0, max(0.0, float(progress["share"]))))
    return f"Step {step} of {of}, {left} left when it began, by {whose}", share


def seconds(duration_s: float) -> str:
    """A duration as one says it."""
    return f"{duration_s:.0f} s" if duration_s < 90.0 else f"{int(duration_s // 60)} min {duration_s % 60:.0f} s"


def weighed(run: RunState) -> Sequence[Any]:
    """Named causes with what speaks for and against them; see ``job.weighing``."""
    from asleft.job.weighing import weighed as weigh  # noqa: PLC0415 - the book is read for few runs only

    return weigh(run) if run.causes else ()


def spaced(text: str) -> str:
    """Hex digits as bytes with spaces."""
    return " ".join(text[n : n + 2] for n in range(0, len(text), 2)).upper()


def size(count: int) -> str:
    """Bytes in a form that is read at a glance."""
    return f"{count} bytes" if count < 2000 else f"{count / 1000:.0f} kB"


def acts_figure(run: RunState, timed: SequenceTimed, narrow: bool) -> str:
    """One attempt at a sequence by hand as a picture; empty where the run's own text has no such sequence."""
    from asleft.job.sequences import run_sequence, track_of  # noqa: PLC0415 - the book is read for few runs only

    step = run_sequence(run, timed.step)
    return track_of(step, timed, narrow=narrow).svg if step is not None else ""
