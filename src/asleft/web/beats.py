"""Beats of a sequence by hand for a page: what is shown and sounded when, and the picture it runs along."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from asleft.event.fold import RunState

if TYPE_CHECKING:
    from asleft.job.sequences import Rehearsal


def beats_of(run: RunState | None, seen: Mapping[str, Any], narrow: bool) -> dict[str, Any]:
    """What the feed says of the run in hand, ready for the page's script; empty when there is nothing to count.

    Args: seen: the feed's newest sequence, with ``age_s`` since it was shown.
    """
    if run is None or not seen or seen.get("run") != run.started.run:
        return {}
    if "ended" in seen:
        return {"ended": str(seen["ended"]), "key": str(seen.get("key", ""))}
    from asleft.job.sequences import run_sequence, track_of  # noqa: PLC0415 - the book is read for few runs only

    step = run_sequence(run, str(seen.get("step", "")))
    picture = _picture(track_of(step, narrow=narrow)) if step else {}
    begun_s = float(seen["age_s"]) - float(seen["count_in_s"])
    rehearsal = bool(seen.get("rehearsal"))
    told = {"cues": _cues(seen["cues"]), "begun_s": begun_s, "rehearsal": rehearsal, **picture}
    return {**told, "key": str(seen.get("key", ""))}


def rehearsal_beats(rehearsal: Rehearsal) -> dict[str, Any]:
    """The same for a rehearsal without a car, to be begun by the person."""
    cues = [{"at_s": c.at_s, "text": c.text, "sound": c.sound.value, "closes_s": c.closes_s} for c in rehearsal.cues]
    picture = _picture(rehearsal.track)
    return {"cues": _cues(cues), "count_in_s": rehearsal.count_in_s, "rehearsal": True, **picture}


def _cues(cues: Sequence[Mapping[str, Any]]) -> list[dict[str, Any]]:
    return [
        {"at": float(c["at_s"]), "text": str(c["text"]), "sound": str(c["sound"]), "until": c.get("closes_s")}
        for c in cues
    ]


def _picture(track: Any) -> dict[str, Any]:
    scale = {"from": track.begin_s, "to": track.end_s, "left": track.left, "right": track.right}
    return {"track": track.svg, "scale": scale}
