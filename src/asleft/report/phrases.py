"""Small phrases of a report: an item, a code, a limit, a verdict, a time. Pure."""

from __future__ import annotations

from asleft.model.condition import Condition
from asleft.model.module import Item
from asleft.model.origin import WallTrust
from asleft.model.reading import Absence, Reading
from asleft.model.trouble import CodeKind, TroubleCode
from asleft.model.verdict import Judgement, LimitOwner, Limits, Rule, Verdict

from .number import expanded, plain, shown
from .parts import Cell
from .words import Words

_VERDICT = {
    Verdict.PASS: Cell("PASS", "pass"),
    Verdict.FAIL: Cell("FAIL", "fail"),
    Verdict.CANNOT_TELL: Cell("CANNOT TELL", "cannot-tell"),
}
_RULE = {Rule.SIMPLE: "rule.simple", Rule.GUARDED: "rule.guarded", Rule.REPORT_ONLY: "rule.report-only"}
_OWNER = {LimitOwner.PRINTED: "owner.as-printed", LimitOwner.OURS: "owner.ours"}


def verdict_cell(verdict: Verdict) -> Cell:
    """One of the three verdict words with its mark."""
    return _VERDICT[verdict]


def with_unit(number: str, unit: str) -> str:
    """``12.3 V``; a pure number and a count stand alone."""
    return number if unit in ("", "1", "count") or not number else f"{number} {unit}"


def absence_text(absence: Absence, w: Words) -> str:
    """Why there is no value: not supported, not read and refused are three different things."""
    if absence.refusal is not None:
        text = w("absence.refused-code", code=f"{absence.refusal:02X}")
    else:
        text = w(f"absence.{absence.kind.value}")
    return f"{text}: {absence.detail}" if absence.detail else text


def item_text(item: Item, w: Words) -> str:
    """Value of an item with its unit and, where they say more, its bytes."""
    if item.absence:
        return absence_text(item.absence, w)
    value = with_unit(item.value, item.unit)
    if not value:
        return item.raw
    return value if not item.raw or item.raw == item.value else f"{value} [{item.raw}]"


def code_text(code: TroubleCode, w: Words, *, kind: bool = True) -> str:
    """``P2176-54 pending, throttle …``; the memory is named unless it is the usual one."""
    memory = "" if not kind or code.kind is CodeKind.STORED else f" {w(f'code.{code.kind.value}')}"
    return f"{code.full}{memory}{f' ({code.text})' if code.text else ''}"


def reading_text(reading: Reading, w: Words) -> str:
    """Value of a reading with its unit, or its absence."""
    if reading.absence is not None:
        return absence_text(reading.absence, w)
    quality = "" if reading.quality.value == "good" else f" ({reading.quality.value})"
    return with_unit(shown(reading.value or 0.0, reading.u), reading.unit) + quality


def range_text(low: float | None, high: float | None, unit: str) -> str:
    """``12 – 15 V``, ``≤ 1.2 %``, ``≥ 5 °C``, or nothing."""
    if low is not None and high is not None:
        return with_unit(f"{plain(low)} – {plain(high)}", unit)
    if high is not None:
        return with_unit(f"≤ {plain(high)}", unit)
    return with_unit(f"≥ {plain(low)}", unit) if low is not None else ""


def limits_text(judgement: Judgement, w: Words) -> str:
    """The limit that was used and whose it is; ``reported`` for what was not judged."""
    if judgement.rule is Rule.REPORT_ONLY:
        return w("reported")
    limits = judgement.limits
    used = range_text(limits.low, limits.high, limits.unit) or w("limits.none")
    return f"{used} ({owner_text(limits, w)})"


def short_limits(judgement: Judgement, w: Words) -> str:
    """The limit that was used and whose it is, for page 1: without unit and without the source's own words."""
    limits = judgement.limits
    if judgement.rule is Rule.REPORT_ONLY:
        return w("reported")
    return f"{range_text(limits.low, limits.high, '') or w('limits.none')} ({w(_OWNER[limits.owner])})"


def owner_text(limits: Limits, w: Words) -> str:
    """Whose limit, with the words it was printed in when they differ."""
    owner = w(_OWNER[limits.owner])
    return f"{owner}: {limits.printed}" if limits.owner is LimitOwner.PRINTED and limits.printed else owner


def rule_text(rule: Rule, w: Words) -> str:
    """Decision rule in words."""
    return w(_RULE[rule])


def value_text(judgement: Judgement) -> str:
    """Value of a criterion, rounded to its uncertainty, with its unit; empty when there is none."""
    if judgement.value is None:
        return ""
    return with_unit(shown(judgement.value, judgement.u), judgement.limits.unit)


def expanded_text(judgement: Judgement) -> str:
    """U(95 %) with its unit; empty when there is no value."""
    return "" if judgement.u is None else with_unit(expanded(judgement.u), judgement.limits.unit)


def condition_text(condition: Condition | None) -> str:
    """Limits of a condition as its source prints them, else as used."""
    if condition is None:
        return ""
    used = range_text(condition.low, condition.high, condition.unit)
    text = f"{condition.printed} [{used}]" if condition.printed and used else condition.printed or used
    hold = f", {plain(condition.hold_s)} s" if condition.hold_s else ""
    return text + hold if text else text


def wall_text(wall: str, trust: WallTrust, w: Words) -> str:
    """``2031-04-17 08:42:03 UTC``, and what it is when it is not this computer's clock."""
    shown_time = wall_short(wall)
    return shown_time if trust is WallTrust.SYSTEM else f"{shown_time} ({w(f'wall.{trust.value}')})"


def wall_short(wall: str) -> str:
    """RFC 3339 text as date, time and zone without parts of a second; anything else as it is."""
    date, sep, rest = wall.partition("T")
    if not sep or len(date) != 10 or len(rest) < 8:
        return wall
    zone = "UTC" if rest.endswith(("Z", "+00:00")) else rest[-6:]
    return f"{date} {rest[:8]} {zone}"
