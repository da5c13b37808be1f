"""Verdicts on measurements, kept apart from what to do next, how a step went and how a run ended."""

from __future__ import annotations

from enum import StrEnum, unique

import msgspec

from .message import Message


@unique
class Verdict(StrEnum):
    """The three verdict words, and no others."""

    PASS = "PASS"  # noqa: S105
    FAIL = "FAIL"
    CANNOT_TELL = "CANNOT_TELL"


@unique
class Reason(StrEnum):
    """Closed list of reasons for CANNOT TELL (common practice, no source)."""

    UNSUPPORTED = "signal not supported"
    WINDOW = "window conditions not met"
    TOO_FEW = "not enough independent samples"
    RESOLUTION = "sample rate or resolution too low"
    UNTRUSTED = "sensor untrusted"
    NO_TARGET = "target unknown"
    CONTRADICTION = "contradictory signals"
    GUARD_BAND = "within the guard band of our own limit"
    FROZEN = "value out of date or frozen"
    TIME_OUT = "time ran out"
    INTERRUPTED = "operator interrupted"
    ENVIRONMENT = "environment"


@unique
class LimitOwner(StrEnum):
    """Whose limit it is: it decides the rule."""

    PRINTED = "as printed"
    OURS = "ours"


@unique
class Rule(StrEnum):
    """Decision rule. Source: ISO/IEC 17025:2017, 7.8.6; JCGM 106:2012, clause 8 (recalled)."""

    SIMPLE = "simple acceptance"
    GUARDED = "guard band g = 2 u"
    REPORT_ONLY = "reported, not judged"


class Limits(msgspec.Struct, frozen=True):
    """Limits of one criterion in ``unit``; None is an open side."""

    low: float | None
    high: float | None
    unit: str
    owner: LimitOwner
    printed: str = ""
    source: str = ""


class Judgement(msgspec.Struct, frozen=True):
    """One criterion judged.

    Attributes:
        criterion: id within the procedure.
        name: words.
        verdict: PASS, FAIL or CANNOT_TELL.
        value, u: estimate and its standard uncertainty, in ``limits.unit``; None when there is none.
        limits: what it was held against.
        rule: how it was decided.
        risk: probability of the wrong answer that follows from this u alone; None when none follows.
        n, n_eff: samples used and how many independent ones they are worth.
        window_s: begin and end on the job's clock.
        samples: names of the recorded series it was computed from.
        reasons: only with CANNOT_TELL.
        sentence: in plain words.
        settles: what would settle a CANNOT_TELL.
    """

    criterion: str
    name: str
    verdict: Verdict
    limits: Limits
    rule: Rule
    value: float | None = None
    u: float | None = None
    risk: float | None = None
    n: int = 0
    n_eff: float = 0.0
    window_s: tuple[float, float] | None = None
    samples: tuple[str, ...] = ()
    reasons: tuple[Reason, ...] = ()
    sentence: Message | None = None
    settles: Message | None = None

    def __post_init__(self) -> None:
        if (self.verdict is Verdict.CANNOT_TELL) != bool(self.reasons):
            raise ValueError("CANNOT_TELL has reasons, the others none")
        if (self.value is None) != (self.u is None):
            raise ValueError("a value has an uncertainty")


@unique
class NextAction(StrEnum):
    """What a run does next."""

    CONTINUE = "continue"
    REPEAT = "repeat"
    ASK = "ask"
    STOP = "stop"


@unique
class StepOutcome(StrEnum):
    """How one step went."""

    DONE = "done"
    SKIPPED = "skipped"
    REFUSED = "refused"
    FAILED = "failed"
    STOPPED = "stopped"


@unique
class RunEnd(StrEnum):
    """How a run ended."""

    COMPLETED = "completed"
    REFUSED = "refused"
    STOPPED = "stopped"
    FAILED = "failed"
    INTERRUPTED = "interrupted"


def overall(judgements: tuple[Judgement, ...]) -> Verdict:
    """Verdict of a whole: any FAIL fails, else any CANNOT_TELL cannot tell; nothing is averaged; none is no PASS."""
    judged = [j.verdict for j in judgements if j.rule is not Rule.REPORT_ONLY]
    if Verdict.FAIL in judged:
        return Verdict.FAIL
    if Verdict.CANNOT_TELL in judged or not judged:
        return Verdict.CANNOT_TELL
    return Verdict.PASS
