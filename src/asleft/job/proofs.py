"""A procedure's criteria on a recording or on what a link gives now: verdicts, number lines, sentences."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path

import msgspec

from asleft.book.loader import load_procedure
from asleft.model.errors import Code, InputError
from asleft.model.reading import Series
from asleft.model.verdict import Judgement, Rule, Verdict
from asleft.proof.criteria import judge
from asleft.proof.criterion_data import CodeAbsent, Criterion
from asleft.proof.criterion_more import Dip, Recovery
from asleft.proof.saved import recordings_of

from .proof_sources import named_recordings, together, typed_values

_WORDS = {Verdict.PASS: "PASS", Verdict.FAIL: "FAIL", Verdict.CANNOT_TELL: "CANNOT TELL"}

#: Fields of a criterion that name signals it reads.
_NAMED = (
    "signal",
    "actual",
    "commanded",
    "short",
    "long",
    "flow",
    "intake",
    "manifold",
    "first",
    "second",
    "barometer",
    "speed",
    "angle",
    "yaw",
    "plate",
)


def criteria_of(path: Path) -> tuple[Criterion, ...]:
    """The criteria of a procedure file that recordings decide.

    Raises: InputError: procedure-bad; procedure-missing when it has none.
    """
    found = tuple(c for c in load_procedure(path).procedure.criteria if not isinstance(c, CodeAbsent))
    if not found:
        raise InputError(Code.PROCEDURE_MISSING, "it has no criterion that a recording decides", str(path))
    return found


def signals_of(criteria: Iterable[Criterion]) -> tuple[str, ...]:
    """Signals that the criteria read, their gates included, each once."""
    names: dict[str, None] = {}
    for criterion in criteria:
        for field in _NAMED:
            if name := getattr(criterion, field, ""):
                names[name] = None
        for name in getattr(criterion, "signals", ()):
            names[name] = None
        if isinstance(criterion, Dip | Recovery):
            names[criterion.moment.signal] = None
        for gate in getattr(criterion, "gates", ()):
            names[gate.signal] = None
    return tuple(names)


def prove(
    criteria: Iterable[Criterion], series: Mapping[str, Series], named: Mapping[str, tuple[Series, ...]] | None = None
) -> tuple[Judgement, ...]:
    """Judge criteria on one recording, whatever names they know it by; on others by their names where these are given.

    Args: series: of the recording without a name. named: further recordings, by the names that the criteria use.
    """
    asked, others = tuple(criteria), named or {}
    whole = tuple(series.values())
    samples = dict(others)
    for criterion in asked:
        wanted = recordings_of(criterion)
        if whole and wanted and wanted[0] not in samples:
            samples[wanted[0]] = whole
    return tuple(judge(c, samples) for c in asked)


def prove_recordings(
    procedure: Path, recordings: Sequence[str], column_map: Path | None = None, typed: Path | None = None
) -> tuple[Judgement, ...]:
    """A procedure's criteria on recordings (``FILE`` or ``NAME=FILE``) and on values typed with their gauges.

    Raises: InputError: procedure-bad, procedure-missing, recording-unreadable, column-map-bad, gauge-bad.
    """
    criteria = criteria_of(procedure)
    found = together(named_recordings(recordings, column_map), typed_values(typed) if typed else {})
    plain = {series.signal: series for series in found.pop("", ())}
    return prove(criteria, plain, found)


def number_line_text(judgement: Judgement, width: int = 60) -> str:
    """A number line for a terminal: limits as bars, guard bands as slants, the value with its interval.

    Returns: one line, empty when there is no number or no limit.
    """
    limits, value, u = judgement.limits, judgement.value, judgement.u
    edges = [x for x in (limits.low, limits.high) if x is not None]
    if value is None or u is None or not edges:
        return ""
    reach = 2.0 * u
    low, high = min(*edges, value - reach), max(*edges, value + reach)
    room = 0.15 * (high - low) or 1.0
    low, high = low - room, high + room

    def at(x: float) -> int:
        return min(width - 1, max(0, round((x - low) / (high - low) * (width - 1))))

    cells = ["·"] * width
    for x in edges:
        if judgement.rule is Rule.GUARDED:
            for i in range(at(x - reach), at(x + reach) + 1):
                cells[i] = "/"
    for i in range(at(value - reach), at(value + reach) + 1):
        cells[i] = "="
    for x in edges:
        cells[at(x)] = "|"
    cells[at(value)] = "◆"
    return "".join(cells)


def lines_of(judgements: Iterable[Judgement]) -> tuple[str, ...]:
    """Verdicts to read: word, number line, sentence, what would settle it."""
    lines: list[str] = []
    for judgement in judgements:
        lines.append(f"{_WORDS[judgement.verdict]:<11} {judgement.name}")
        if line := number_line_text(judgement):
            lines.append(f"            {line}")
        if judgement.sentence:
            lines.append(f"            {judgement.sentence.text}")
        if judgement.settles:
            lines.append(f"            What would settle it: {judgement.settles.text}")
    return tuple(lines)


def judgements_json(judgements: tuple[Judgement, ...], origin: str) -> str:
    """Verdicts as JSON text."""
    return msgspec.json.format(msgspec.json.encode({"origin": origin, "judgements": judgements}), indent=2).decode()
