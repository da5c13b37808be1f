"""Entry conditions of a run, interlocks that were lost, and what a named person waived. Pure."""

from __future__ import annotations

from asleft.event import body as b
from asleft.model.condition import Condition, ConditionResult, ConditionState

from .keynumbers import signal_name
from .parts import Block, Cell, Events, Line, Lines, Row, Table, row
from .phrases import condition_text
from .traced import Traced
from .words import Words


def conditions(record: Traced, run: str, w: Words) -> list[Block]:
    """Entry conditions as they stood when the gate opened (or last stood, if it never did); interlocks lost since."""
    seen = record.of_run(b.ConditionsSeen, run)
    declared = {c.id: c for c in record.state.runs[run].conditions}
    begun = record.of_run(b.RunStarted, run)[0][0].sequence
    entry = [s for s in seen if s[1].gate == "open"] or [s for s in seen if s[1].gate != "watched"]
    last: dict[str, tuple[Events, ConditionResult]] = {}
    for event, body in entry:
        last |= {r.condition: ((begun, event.sequence), r) for r in body.results}
    keys = dict.fromkeys((*declared, *last))
    rows = [_condition(declared.get(key), key, *last.get(key, ((begun,), None)), w) for key in keys]
    lost = [
        _condition(declared.get(r.condition), r.condition, (begun, event.sequence), r, w)
        for event, body in seen
        if body.gate == "watched"
        for r in body.results
        if r.state is not ConditionState.MET
    ]
    gate = f"gate.{entry[-1][1].gate}" if entry else ""
    title = w("conditions.title") + (f" – {w(gate)}" if w.knows(gate) else "")
    head = tuple(w(h) for h in ("condition", "limit", "value", "state", "known-by", "source"))
    widths = (5, 4, 3, 5, 2, 4)
    blocks: list[Block] = [Table(title, head, widths, tuple(rows), w("conditions.none"))]
    if lost:
        blocks.append(Table(w("conditions.lost"), head, widths, tuple(lost)))
    if len(seen) > 1:
        begin, end = (w.n.fixed(event.monotonic_s) for event, _ in (seen[0], seen[-1]))
        looks = w("conditions.looks", count=len(seen), first=begin, last=end)
        blocks.append(Lines("", (Line(looks, tuple(event.sequence for event, _ in seen)),)))
    return blocks


def _condition(condition: Condition | None, key: str, events: Events, result: ConditionResult | None, w: Words) -> Row:
    name = condition.text if condition else key
    if condition and condition.signal:
        name = f"{name} [{signal_name(condition.signal)}]"
    limit, source = condition_text(condition, w), condition.source if condition else ""
    if result is None:
        return row(name, limit, "", Cell(w("condition.not-seen"), "open"), "", source, events=events)
    value = "" if result.value is None else w.n.against(result.value, result.unit, *_limits(condition))
    details = [w("held", seconds=w.n.fixed(result.held_s))] if result.held_s else []
    if result.margin is not None:
        details.append(w("margin", margin=w.n.difference(result.margin, result.unit)))
    said = "; ".join((*details, *((w.said(result.reason),) if result.reason else ())))
    met = result.state is ConditionState.MET
    cell = Cell(w(f"condition.{result.state.value}") + (f" ({said})" if said else ""), "" if met else "open")
    known = "" if result.state is ConditionState.NOT_KNOWN else w(f"evidence.{result.evidence.value}")
    return row(name, limit, value, cell, known, source, events=events)


def _limits(condition: Condition | None) -> tuple[float | None, ...]:
    return (condition.low, condition.high) if condition else ()


def waived(record: Traced, run: str, w: Words) -> list[Lines]:
    """What a named person let be, and why."""
    lines = tuple(
        Line(w("waived", condition=body.condition, by=body.by, reason=body.reason), (event.sequence,), "open")
        for event, body in record.of_run(b.ConditionWaived, run)
    )
    return [Lines(w("waived.title"), lines)] if lines else []
