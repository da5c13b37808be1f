"""Small phrases of a report: an item, a code, a limit, a verdict, a time. Pure."""

from __future__ import annotations

from asleft.model.condition import Condition
from asleft.model.module import Item
from asleft.model.numbers import with_unit
from asleft.model.origin import WallTrust
from asleft.model.reading import Absence, Quality, Reading
from asleft.model.trouble import CodeKind, TroubleCode
from asleft.model.verdict import Judgement, LimitOwner, Limits, Rule, Verdict

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
    value = with_unit(w.n.text(item.value) if item.unit else item.value, item.unit)
    if not value:
        return item.raw
    return value if not item.raw or _says_no_more(item) else f"{value} [{item.raw}]"


def _says_no_more(item: Item) -> bool:
    """Whether the bytes are only the letters of the value, or its digits."""
    if item.raw.startswith("personal:"):
        return True
    letters = bytes.fromhex(item.raw).decode("ascii", "replace").strip("\x00 ")
    return letters == item.value.strip() or item.raw == item.value.replace(" ", "").upper()


def code_text(code: TroubleCode, w: Words, *, kind: bool = True) -> str:
    """``P2176-54 pending, throttle …``; the memory is named unless it is the usual one."""
    memory = "" if not kind or code.kind is CodeKind.STORED else f" {w(f'code.{code.kind.value}')}"
    return f"{code.full}{memory}{f' ({code.text})' if code.text else ''}"


def reading_text(reading: Reading, w: Words) -> str:
    """Value of a reading with its unit, or its absence."""
    if reading.absence is not None:
        return absence_text(reading.absence, w)
    quality = "" if reading.quality is Quality.GOOD else f" ({w(f'quality.{reading.quality.value}')})"
    return w.n.quantity(reading.value or 0.0, reading.unit, reading.u) + quality


def limits_text(judgement: Judgement, w: Words) -> str:
    """The limit that was used and whose it is; ``reported`` for what was not judged."""
    if judgement.rule is Rule.REPORT_ONLY:
        return w("reported")
    limits = judgement.limits
    used = w.n.range(limits.low, limits.high, limits.unit) or w("limits.none")
    return f"{used} ({owner_text(limits, w)})"


def short_limits(judgement: Judgement, w: Words) -> str:
    """The limit that was used and whose it is, for page 1: without unit and without the source's own words."""
    limits = judgement.limits
    if judgement.rule is Rule.REPORT_ONLY:
        return w("reported")
    used = w.n.range(limits.low, limits.high, limits.unit, bare=True) or w("limits.none")
    return f"{used} ({w(_OWNER[limits.owner])})"


def owner_text(limits: Limits, w: Words) -> str:
    """Whose limit, with the words it was printed in when they differ."""
    owner = w(_OWNER[limits.owner])
    return f"{owner}: {limits.printed}" if limits.owner is LimitOwner.PRINTED and limits.printed else owner


def rule_text(rule: Rule, w: Words) -> str:
    """Decision rule in words."""
    return w(_RULE[rule])


def value_text(judgement: Judgement, w: Words) -> str:
    """Value of a criterion, rounded to its uncertainty, with its unit; empty when there is none."""
    if judgement.value is None:
        return ""
    return w.n.quantity(judgement.value, judgement.limits.unit, judgement.u or 0.0)


def expanded_text(judgement: Judgement, w: Words) -> str:
    """U(95 %) with its unit; empty when there is no value."""
    return (
        ""
        if judgement.u is None
        else with_unit(w.n.expanded(judgement.u, judgement.limits.unit), judgement.limits.unit)
    )


def condition_text(condition: Condition | None, w: Words) -> str:
    """Limits of a condition as its source prints them, else as used."""
    if condition is None:
        return ""
    used = w.n.range(condition.low, condition.high, condition.unit)
    text = (
        f"{condition.printed} [{used}]" if used and condition.printed not in ("", used) else used or condition.printed
    )
    hold = f", {w.n.plain(condition.hold_s)} s" if condition.hold_s else ""
    return text + hold if text else text


def wall_text(wall: str, trust: WallTrust, w: Words) -> str:
    """``2031-04-17 08:42:03 UTC``, and what it is when it is not this computer's clock."""
    shown_time = w.n.wall(wall)
    return shown_time if trust is WallTrust.SYSTEM else f"{shown_time} ({w(f'wall.{trust.value}')})"
