"""A job, written by hand, with all that the ways by hand and beside leave on the record, a retest and causes."""

from __future__ import annotations

from asleft.book.shelf import OWN_FOLDER
from asleft.event import body as b
from asleft.event.envelope import Event
from asleft.model.timed import ActTimed
from asleft.model.verdict import Judgement, LimitOwner, Limits, Reason, Rule, RunEnd, Verdict
from asleft.model.work import Grade, Need, Plan, PlanStep
from kit.events import CONDITIONS, FOUND, RECEIVED, Job, opened, picture, say

HAND, TESTER = "idle-relearn-1", "idle-relearn-2"
TEXT = (OWN_FOLDER / "idle-relearn-aldra.yaml").read_text("utf-8")
ACTS = (
    ActTimed("key on", 0.0, 0.05, 0.0),
    ActTimed("pedal to the floor", 6.4, 0.06, 0.4),
    ActTimed("pedal up", 19.9, 0.06, 1.9),
)


def _judged(verdict: Verdict, value: float, *reasons: Reason) -> Judgement:
    limits = Limits(-50.0, 50.0, "rpm", LimitOwner.PRINTED, "750 ± 50 rpm", "page 12-41")
    more = {"reasons": reasons, "settles": say("settle", "Record again with a warm engine, loads off.")}
    told = say("x", "Idle {v} rpm off its target.", v=f"{value:g}")
    kept = more if reasons else {}
    return Judgement(
        "idle-changed",
        "idle at its target",
        verdict,
        limits,
        Rule.SIMPLE,
        value,
        4.0,
        0.02,
        90,
        22.0,
        sentence=told,
        **kept,
    )  # type: ignore[arg-type]


def evidence_job(*, ended: bool = True) -> tuple[Event, ...]:
    """By hand and missed, then beside: marks, a blind period, a document; a retest; causes; a CANNOT TELL."""
    job = Job("GSM-2031-0500")
    job.add(opened(), b.PictureTaken(picture(RECEIVED, 0.0, "5.1")), b.PictureTaken(picture(FOUND, 60.0, "0.0")))
    job.add(b.NeedsFound((Need("idle-relearn", "idle relearn", Grade.REQUIRED, (say("x", "throttle cleaned"),)),)))
    step = PlanStep(
        "idle-relearn", "idle relearn", "warm-idle", 12.0, 5.0, 17.0, say("x", "first"), "idle-relearn-aldra"
    )
    job.add(b.PlanMade(Plan((step,), 17.0, 17.0, 17.0, True)))
    started = b.RunStarted(
        HAND, "idle-relearn", "idle-relearn-aldra", "idle relearn", "by-hand", TEXT, "0" * 64, CONDITIONS
    )
    job.add(started, b.RunProgress(HAND, "preparing", "begin"), b.RunProgress(HAND, "waiting", "prepared"))
    job.add(b.RunProgress(HAND, "acting", "open"))
    missed = say("sequence.late", "pedal up came 0.4 s too late")
    job.add(b.SequenceTimed(HAND, "sequence", 1, ACTS, Verdict.FAIL, missed, 0.11))
    job.add(b.CausesNamed(HAND, "The sequence is missed again and again.", ("act too late", "mat in the way")))
    job.add(b.RunEnded(HAND, RunEnd.STOPPED, Verdict.CANNOT_TELL, missed))
    job.add(
        b.RunStarted(TESTER, "idle-relearn", "idle-relearn-aldra", "idle relearn", "beside", TEXT, "0" * 64, CONDITIONS)
    )
    job.add(b.RunProgress(TESTER, "acting", "open"))
    job.add(b.PersonMarked(TESTER, "turn", "start", "started", "M. Okafor"), after_s=20.0)
    job.add(b.PersonMarked(TESTER, "turn", "end", "ended as the manual says", "M. Okafor"), after_s=140.0)
    blind = say("tester.blind", "the other tester was on the plug: nothing was asked, its answers were not heard")
    job.add(b.NotWatched(TESTER, "turn", 30.0, 170.0, blind))
    job.add(b.DocumentAttached(TESTER, "turn", "screen.jpg", "ab" * 32, 212_400, "M. Okafor"))
    job.add(b.CriterionJudged(TESTER, _judged(Verdict.FAIL, 74.0)))
    job.add(b.RetestDeclared(TESTER, 2, "M. Okafor", "the fan had come on", "fan off"))
    job.add(b.CriterionJudged(TESTER, _judged(Verdict.CANNOT_TELL, 44.0, Reason.WINDOW)))
    job.add(
        b.CausesNamed(TESTER, "In time, but the idle did not change.", ("engine not warm", "lower stop not learned"))
    )
    if not ended:
        return job.add(b.RunProgress(TESTER, "paused", "pause")).done()
    job.add(b.RunEnded(TESTER, RunEnd.COMPLETED, Verdict.CANNOT_TELL, say("x", "One criterion cannot be judged.")))
    return job.close("The functions listed were performed and judged as shown.", released=False)
