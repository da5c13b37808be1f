"""The criterion on trouble codes: gone, and not back.

A permanent entry cannot be cleared by anybody and goes when the car's own monitor has run; it is named, not judged.
"""

from __future__ import annotations

import msgspec

from asleft.model.message import Message, say
from asleft.model.trouble import CodeKind, TroubleCode
from asleft.model.verdict import Judgement, LimitOwner, Limits, Reason, Rule, Verdict

from .criterion_data import CodeAbsent
from .decide import decide
from .estimate import NoEstimate


class CodesSeen(msgspec.Struct, frozen=True):
    """Trouble codes as read before and after.

    Attributes:
        after: codes at the end; None when they were not read.
        read: names of the modules that were read at the end.
        before: codes before; None when they were not read.
        cycles: key cycles between the clear and the reading at the end.
    """

    after: tuple[TroubleCode, ...] | None
    read: tuple[str, ...] = ()
    before: tuple[TroubleCode, ...] | None = None
    cycles: int = 0


def judge_codes(criterion: CodeAbsent, seen: CodesSeen | None) -> Judgement:
    """PASS when no code asked for is stored or pending; FAIL when one is; cannot tell when nobody looked."""
    limits = Limits(None, 0.0, "count", LimitOwner.OURS, source="the code is there or it is not")
    none = _unread(criterion, seen)
    if none is not None or seen is None or seen.after is None:
        none = none or NoEstimate(
            (Reason.UNSUPPORTED,), say("proof.codes-unread", "the codes were not read at the end")
        )
        return decide(criterion.id, criterion.name, none, limits)
    asked = [c for c in seen.after if c.code in criterion.codes]
    back = sorted({c.full for c in asked if c.kind is not CodeKind.PERMANENT})
    permanent = sorted({c.full for c in asked if c.kind is CodeKind.PERMANENT})
    return Judgement(
        criterion=criterion.id,
        name=criterion.name,
        verdict=Verdict.FAIL if back else Verdict.PASS,
        limits=limits,
        rule=Rule.SIMPLE,
        value=float(len(back)),
        u=0.0,
        n=len(seen.after),
        sentence=_said(criterion, seen, back, permanent),
    )


def _said(criterion: CodeAbsent, seen: CodesSeen, back: list[str], permanent: list[str]) -> Message:
    name = criterion.name
    if back:
        return say("verdict.code-back", "{name}: {codes} stored or pending.", name=name, codes=", ".join(back))
    if permanent:
        template = "{name}: not stored and not pending; {codes} stays as permanent until the car's own monitor has run."
        return say("verdict.code-permanent", template, name=name, codes=", ".join(permanent))
    template = "{name}: {codes} not stored and not pending, {cycles} key cycles after the clear."
    return say("verdict.code-gone", template, name=name, codes=", ".join(criterion.codes), cycles=seen.cycles)


def _unread(criterion: CodeAbsent, seen: CodesSeen | None) -> NoEstimate | None:
    if seen is None or seen.after is None:
        return None
    silent = [m for m in criterion.modules if m not in seen.read]
    if silent:
        message = say(
            "proof.module-unread", "the codes of {modules} were not read at the end", modules=", ".join(silent)
        )
        return NoEstimate((Reason.UNSUPPORTED,), message)
    if seen.cycles < criterion.cycles:
        template = "{n} key cycles since the clear, {cycles} are needed to see whether it comes back"
        return NoEstimate((Reason.WINDOW,), say("proof.code-cycles", template, n=seen.cycles, cycles=criterion.cycles))
    return None
