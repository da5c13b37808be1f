"""Headings of the sheet's parts: status, stamp and the one line that matters when a part is folded. Pure."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from asleft.event.fold import JobState
from asleft.model.condition import Condition, ConditionResult, ConditionState
from asleft.model.module import Picture
from asleft.model.trouble import TroubleCode
from asleft.model.verdict import Verdict
from asleft.model.work import Grade

from .stage import PICTURES, Status, has, in_hand, last_runs, run_in_hand, status_of

TITLES = {
    "received": "As received",
    "work": "Work",
    "found": "As found",
    "needs": "Needs",
    "plan": "Plan",
    "runs": "Procedures",
    "left": "As left",
    "record": "Record",
}

_LATER = {
    "received": "the car before the work, not read yet",
    "found": "after the work, before anything is learned",
    "needs": "follows from the work and from what is found",
    "plan": "comes with the needs",
    "runs": "none begun",
    "left": "the end of the job",
    "record": "",
}

VERDICT_WORDS = {Verdict.PASS: "✓ PASS", Verdict.FAIL: "✕ FAIL", Verdict.CANNOT_TELL: "? CANNOT TELL"}


@dataclass(frozen=True)
class PartView:
    """Heading of one part of the sheet.

    Attributes:
        name: of the part and its template. title: words.
        status: done, in hand or to come; only what is in hand is open by itself.
        stamp: word stamped on it, or empty.
        line: the one line that matters. tone: ``codes``, ``warn`` or empty.
    """

    name: str
    title: str
    status: Status
    stamp: str = ""
    line: str = ""
    tone: str = ""


def part_view(state: JobState, name: str) -> PartView:
    """Heading of one part in the order of the work."""
    shown = has(state, name)
    line, tone = _line(state, name) if shown else (_LATER.get(name, ""), "")
    return PartView(name, TITLES[name], status_of(state, name), _stamp(state, name) if shown else "", line, tone)


def _stamp(state: JobState, name: str) -> str:
    match name:
        case "received" | "found" | "left":
            return "not taken" if state.pictures[PICTURES[name]].not_taken else "taken"
        case "work":
            return "done"
        case "plan":
            return "made"
        case "runs":
            return "carried out" if run_in_hand(state) == "" and in_hand(state) != "runs" else ""
        case "record":
            return "signed"
        case _:
            return ""


# -- the one line that matters ---------------------------------------------------------------------------------------


def _line(state: JobState, name: str) -> tuple[str, str]:
    match name:
        case "received" | "found" | "left":
            return _picture_line(state.pictures[PICTURES[name]])
        case "work":
            return "; ".join(item.text for item in state.work_items), ""
        case "needs":
            return _needs_line(state), ""
        case "plan":
            assert state.plan is not None
            return f"{len(state.plan.steps)} places, {state.plan.active_min:.0f} min of work", ""
        case "runs":
            return _runs_line(state)
        case _:
            return _record_line(state), "warn" if state.closed and not state.closed.released else ""


def _picture_line(picture: Picture) -> tuple[str, str]:
    """Codes first, silence second; else that there is nothing."""
    if picture.not_taken:
        return picture.not_taken, ""
    silent = [m.address.name for m in picture.modules if not m.responded]
    unread = [m.address.name for m in picture.modules if m.responded and m.codes_absence is not None]
    rest = f"{', '.join(silent)} did not answer" if silent else ""
    if unread:
        rest = "; ".join(filter(None, (rest, f"codes of {', '.join(unread)} not read")))
    if picture.codes:
        codes = ", ".join(f"{c.full} {c.module}" for c in distinct(picture.codes))
        return "; ".join(filter(None, (f"▲ {codes}", rest))), "codes"
    if not picture.modules:
        return f"{len(picture.readings)} readings, no modules", ""
    none = f"no trouble codes in {count(len(picture.modules) - len(silent) - len(unread), 'module')}"
    return "; ".join(filter(None, (none, rest))), "warn" if rest else ""


def _needs_line(state: JobState) -> str:
    grades = [n.grade for n in state.needs]
    required, advisable = grades.count(Grade.REQUIRED), grades.count(Grade.ADVISABLE)
    missing = sum(not n.procedure for n in state.needs if n.grade is not Grade.NOT_NEEDED)
    parts = [f"{required} required"] if required else []
    parts += [f"{advisable} advisable"] if advisable else []
    parts += [f"{missing} without a procedure in the book"] if missing else []
    return ", ".join(parts) or "nothing is needed"


def _runs_line(state: JobState) -> tuple[str, str]:
    verdicts = [r.verdict for r in last_runs(state) if r.verdict is not None]
    if not verdicts:
        return f"{count(len(state.runs), 'procedure')} begun", ""
    words = ", ".join(VERDICT_WORDS[v] for v in verdicts)
    return words, "" if set(verdicts) == {Verdict.PASS} else "warn"


def _record_line(state: JobState) -> str:
    still = len(state.open_items)
    open_words = f"; {count(still, 'item')} {'stays' if still == 1 else 'stay'} open" if still else ""
    released = state.closed is not None and state.closed.released
    return f"{count(state.sequence, 'event')}{open_words}{'' if released else '; not released'}"


def count(number: int, word: str) -> str:
    """``1 module``, ``2 modules``."""
    return f"{number} {word}" if number == 1 else f"{number} {word}s"


def capital(text: str) -> str:
    """The text with a capital at its beginning."""
    return text[:1].upper() + text[1:]


def unmet(conditions: Iterable[Condition], results: Iterable[ConditionResult]) -> tuple[tuple[str, str], ...]:
    """Words and reason of each condition that does not hold now, in their order."""
    found = {r.condition: r for r in results}
    missing = ((c.text, found[c.id]) for c in conditions if c.id in found)
    return tuple(
        (capital(text), r.reason.text if r.reason else "") for text, r in missing if r.state is not ConditionState.MET
    )


def distinct(codes: Iterable[TroubleCode]) -> tuple[TroubleCode, ...]:
    """Each code of a module once, though several memories hold it; the one with its failure type is kept."""
    kept: dict[tuple[str, str], TroubleCode] = {}
    for code in codes:
        key = (code.module, code.code)
        if key not in kept or kept[key].failure_type is None:
            kept[key] = code
    return tuple(kept.values())
