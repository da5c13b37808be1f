"""The criteria of a proof in full: value, u, limits, whose, rule, n, risk, sentence. Pure."""

from __future__ import annotations

from asleft.event.body import CriterionJudged
from asleft.model.numbers import with_unit
from asleft.model.verdict import Judgement, Rule

from .parts import Block, Cell, Table, row
from .phrases import expanded_text, limits_text, rule_text, value_text, verdict_cell
from .traced import Attempt, Traced
from .words import Words


def criteria(record: Traced, run: str, w: Words) -> list[Block]:
    """Every judgement of a run in order, a table for each attempt; rule, window and words stand under its numbers."""
    attempts = record.attempts(run)
    return [_attempt(record, run, attempt, len(attempts), w) for attempt in attempts]


def _attempt(record: Traced, run: str, attempt: Attempt, attempts: int, w: Words) -> Block:
    head = tuple(w(h) for h in ("criterion", "value", "u", "uncertainty", "limit", "n-eff", "risk", "verdict"))
    rows = [
        row(*_cells(body.judgement, w), events=(event.sequence,), note=_note(body.judgement, w))
        for event, body in record.of_run(CriterionJudged, run)
        if attempt.holds(event.sequence)
    ]
    title = w("criteria.title")
    if attempts > 1:
        put_aside = "" if attempt.number == attempts else f", {w('criteria.put-aside')}"
        title += f" – {w('attempt', number=attempt.number, total=attempts)}{put_aside}"
    return Table(title, head, (7, 3, 3, 3, 6, 3, 3, 4), tuple(rows), w("criteria.none"))


def _cells(judged: Judgement, w: Words) -> tuple[str | Cell, ...]:
    u = "" if judged.u is None else with_unit(w.n.expanded(judged.u / 2, judged.limits.unit), judged.limits.unit)
    verdict = Cell("–") if judged.rule is Rule.REPORT_ONLY else verdict_cell(judged.verdict)
    counted = f"{judged.n} ({w.n.plain(round(judged.n_eff, 1))})" if judged.n else "–"
    risk = "–" if judged.risk is None else _risk(judged.risk, w)
    numbers = (value_text(judged, w) or "–", u or "–", expanded_text(judged, w) or "–", limits_text(judged, w))
    return (judged.name, *numbers, counted, risk, verdict)


def _risk(risk: float, w: Words) -> str:
    """Probability of the wrong answer in %, one digit; smaller ones than any model of u could carry are not printed."""
    percent = 100.0 * risk
    return f"{w('less-than', number=w.n.text('0.01'))} %" if percent < 0.01 else f"{w.n.text(f'{percent:.2g}')} %"


def _note(judged: Judgement, w: Words) -> str:
    parts = [w.said(judged.sentence)]
    if judged.reasons:
        parts.append(w("reasons.cannot-tell", reasons=", ".join(w(f"reason.{r.name.lower()}") for r in judged.reasons)))
    if judged.settles:
        parts.append(w("settles", settles=w.said(judged.settles)))
    parts.append(f"{w('rule')}: {rule_text(judged.rule, w)}")
    if judged.limits.source and judged.rule is not Rule.REPORT_ONLY:
        parts.append(f"{w('limit.source')}: {judged.limits.source}")
    if judged.window_s:
        span = w("window.text", start=w.n.fixed(judged.window_s[0]), stop=w.n.fixed(judged.window_s[1]))
        parts.append(f"{w('window')}: {span}")
    if judged.samples:
        parts.append(f"{w('samples.from')}: {', '.join(judged.samples)}")
    return " · ".join(p.rstrip(".") for p in parts if p)
