"""Details at both ends: record and car, needs, plan; exceptions, open items, who, counts, how to verify. Pure."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping

from asleft.event import body as b
from asleft.model.condition import ConditionResult, ConditionState
from asleft.model.control import ControlHow
from asleft.model.verdict import StepOutcome, Verdict

from .car import car_text, order_text, vin_facts
from .figures import plan_figure
from .parts import Cell, Events, Fact, Facts, Line, Lines, Row, Section, Table, fact, row
from .phrases import wall_text
from .sources import gaps_of
from .stated import ADVICE, CAR, HEADER, PEOPLE, REQUEST, TOOLS, group
from .still_open import open_lines
from .traced import Traced
from .verdicts import outcomes
from .words import Words


def record_and_car(record: Traced, w: Words) -> Section:
    """Header fields: record, workshop, car, link, program, clock."""
    numbers, opened = record.last(b.JobOpened)
    first = record.events[0]
    here = (first.sequence,)
    rows: list[Fact] = [
        fact(w("record"), first.job, here),
        fact(w("record-format"), first.format, here),
        fact(w("origin"), " + ".join(w(f"origin.{o.value}") for o in record.origins), here),
        fact(w("clock"), w(f"clock.{first.clock.value}"), here),
        fact(w("car"), car_text(record, w), numbers),
        *vin_facts(record, w),
    ]
    if opened and opened.vehicle.displacement_l is not None:
        rows.append(fact(w("displacement"), f"{w.n.plain(opened.vehicle.displacement_l)} L", numbers))
    if opened:
        rows.append(fact(w("workshop"), opened.workshop, numbers))
        rows.append(fact(w("order"), order_text(opened.order, w), numbers))
        rows.append(fact(w("link"), opened.link, numbers))
        rows.append(fact(w("program"), opened.program, numbers))
    rows += _clock(record, w)
    return Section(
        w("record.title"),
        (
            Facts("", tuple(rows)),
            *group(record, HEADER, w("header.title"), w),
            *group(record, CAR, w("car.title"), w),
            *group(record, TOOLS, w("tools.title"), w),
        ),
    )


def _clock(record: Traced, w: Words) -> list[Fact]:
    """Where the wall clock is read from, and each time it jumped."""
    rows: list[Fact] = []
    for event, body in record.of(b.ClockNoted):
        jump = w("clock.first") if body.jump_s is None else w("clock.jump", seconds=w.n.signed(body.jump_s))
        rows.append(fact(w("clock.wall"), f"{body.source}, {body.zone}; {jump}", (event.sequence,)))
    return rows


def needs(record: Traced, w: Words) -> Section:
    """Work items, then every function with its chain of reasons."""
    opened, body = record.last(b.JobOpened)
    items = tuple(Line(f"{i.text} [{i.id}]", opened) for i in (body.work_items if body else ()))
    events = record.numbers(b.NeedsFound)[-1:]
    rows: list[Row] = []
    for need in record.state.needs:
        why = "\n".join(w.said(r) for r in need.reasons)
        procedure = Cell(need.procedure) if need.procedure else Cell(w("procedure.none"), "open")
        name, grade = f"{need.name} [{need.function}]", w(f"grade.{need.grade.value}")
        rows.append(row(name, grade, why, procedure, events=events))
    head = tuple(w(h) for h in ("function", "grade", "reasons", "procedure"))
    table = Table("", head, (5, 2, 8, 4), tuple(rows), w("needs.none"))
    asked = group(record, REQUEST, w("request.title"), w)
    return Section(w("needs.title"), (Lines("", items, w("done.none")), *asked, table))


def plan(record: Traced, w: Words) -> Section:
    """The order, its minutes, what put each at its place, and whether it was shown to be the best."""
    head = tuple(w(h) for h in ("plan.step", "plan.state", "plan.minutes", "plan.elapsed", "reasons", "procedure"))
    widths = (5, 3, 3, 2, 7, 4)
    chosen, order = record.last(b.OrderChosen)
    numbers, body = (chosen, order) if order is not None else record.last(b.PlanMade)
    if body is None:
        return Section(w("plan.title"), (Table("", head, widths, (), w("plan.none")),))
    rows: list[Row] = []
    for place, step in enumerate(body.plan.steps, 1):
        minutes = f"{w.n.plain(step.move_min)} + {w.n.plain(step.work_min)}"
        procedure = step.procedure or "–"
        cells = (
            f"{place}. {step.name}",
            state_text(step.state, w),
            minutes,
            w.n.plain(step.elapsed_min),
            w.said(step.why),
            procedure,
        )
        rows.append(row(*cells, events=numbers))
    table = Table("", head, widths, tuple(rows))
    given = body.plan.given_active_min
    total = w(
        "plan.total",
        active=w.n.plain(body.plan.active_min),
        elapsed=w.n.plain(body.plan.elapsed_min),
        given=w("plan.given-impossible") if given is None else w("plan.given", minutes=w.n.plain(given)),
        proven=w("plan.proven" if body.plan.proven else "plan.not-proven"),
    )
    return Section(w("plan.title"), (table, *plan_figure(body.plan, numbers, w), Lines("", (Line(total, numbers),))))


def state_text(state: str, w: Words) -> str:
    """A car state in words; one that has none as it stands."""
    return w(f"car-state.{state}") if w.knows(f"car-state.{state}") else state


def exceptions(record: Traced, w: Words) -> Section:
    """Whatever did not go the plain way: waivers, refusals, stops, repeats, contradictions, CANNOT TELL, remarks."""
    found: list[tuple[int, Row]] = []

    def add(sequence: int, what: str, text: str, mark: str = "open") -> None:
        found.append((sequence, row(Cell(what, mark), text, events=(sequence,))))

    for e, waived in record.of(b.ConditionWaived):
        add(e.sequence, w("exception.waived"), f"{waived.condition}: {waived.by}: {waived.reason}")
    for e, stopped in record.of(b.StepStopped, lambda s: s.outcome not in (StepOutcome.DONE, StepOutcome.SKIPPED)):
        what = w("exception.step", outcome=w(f"outcome.{stopped.outcome.value}"))
        add(e.sequence, what, f"{stopped.step}: {w.said(stopped.message)}")
    for e, answered in record.of(b.EffectAnswered, lambda a: a.refusal is not None):
        target = record.state.effects[answered.intent].intent.target.text
        add(e.sequence, w("exception.refused", target=target), w.said(answered.message))
    for e, intent in record.of(b.IntentWritten, lambda i: bool(i.intent.repeat_of)):
        add(e.sequence, w("exception.repeat"), w("repeat-of", intent=intent.intent.repeat_of))
    for e, judged in record.of(b.CriterionJudged, lambda j: j.judgement.verdict is Verdict.CANNOT_TELL):
        why = ", ".join(w(f"reason.{r.name.lower()}") for r in judged.judgement.reasons)
        add(e.sequence, w("exception.cannot-tell"), f"{judged.judgement.name}: {why}", "cannot-tell")
    for e, job in record.of(b.JobStopped):
        add(e.sequence, w("exception.stopped"), f"{job.reason}: {w.said(job.message)}")
    for e, again in record.of(b.RetestDeclared):
        add(e.sequence, w("exception.retest"), f"{again.by}: {again.reason}")
    for e, order in record.of(b.OrderChosen):
        costs = "".join(f"; {w.said(rule)}" for rule in order.broken)
        add(e.sequence, w("exception.order"), f"{order.by}: {order.reason}{costs}")
    for e, blind in record.of(b.NotWatched):
        add(e.sequence, w("exception.blind"), w.said(blind.message))
    for e, started in record.of(b.RunStarted):
        if count := len(gaps_of(started)):
            add(e.sequence, w("exception.gaps"), w("exception.gaps-text", name=started.name, count=count))
    for e, moved in record.of(b.ControlMoved, lambda m: m.how is ControlHow.TAKEN_OVER):
        add(e.sequence, w("exception.moved"), w("control.taken-over", reason=moved.reason))
    for e, noted in record.of(b.Noted):
        add(e.sequence, w("exception.noted"), w.said(noted.message), "")
    for o in outcomes(record, w):
        if o.stated and o.contradicts:
            add(o.events[-1], w("exception.contradiction"), w("run.contradiction", stated=o.stated.value), "fail")
    rows = tuple(r for _, r in sorted(found, key=lambda f: f[0]))
    table = Table("", (w("exception"), w("sentence")), (3, 10), rows, w("exceptions.none"))
    return Section(w("exceptions.title"), (table, _counted(record, w)))


def _counted(record: Traced, w: Words) -> Facts:
    """How often something did not go the plain way; what did not happen is said too."""
    functions = [started.function for _, started in record.runs]
    again = tuple(e.sequence for n, (e, r) in enumerate(record.runs) if r.function in functions[:n])
    lost = record.numbers(b.ConditionsSeen, lambda s: s.gate == "watched" and any(not _met(r) for r in s.results))
    found: dict[str, Events] = {
        "refusals": record.numbers(b.EffectAnswered, lambda a: a.refusal is not None),
        "repeats": record.numbers(b.IntentWritten, lambda i: bool(i.intent.repeat_of)),
        "interlocks": lost,
        "waived": record.numbers(b.ConditionWaived),
        "again": again,
        "retests": record.numbers(b.RetestDeclared),
        "blind": record.numbers(b.NotWatched),
        "stopped": record.numbers(b.JobStopped),
    }
    rows = tuple(fact(w(f"counted.{k}"), str(len(v)) if v else w("counted.none"), v) for k, v in found.items())
    return Facts(w("counted.title"), rows)


def _met(result: ConditionResult) -> bool:
    return result.state is ConditionState.MET


def still_open(record: Traced, w: Words) -> Section:
    """The whole list of what stays open."""
    lines = Lines("", tuple(open_lines(record, outcomes(record, w), w)), w("open.none"))
    return Section(w("open.title"), (lines, *group(record, ADVICE, w("advice.title"), w)))


def who_and_when(record: Traced, w: Words) -> Section:
    """Everybody who caused an event, from when to when."""
    rows: list[Row] = []
    for actor in dict.fromkeys(e.actor for e in record.events):
        theirs = [e for e in record.events if e.actor == actor]
        first, last = theirs[0], theirs[-1]
        times = (wall_text(e.wall, e.wall_trust, w) for e in (first, last))
        rows.append(row(actor, str(len(theirs)), *times, events=tuple(e.sequence for e in theirs)))
    head = tuple(w(h) for h in ("actor", "events", "first", "last"))
    signed = group(record, PEOPLE, w("people.title"), w)
    return Section(w("who.title"), (Table("", head, (4, 1, 5, 5), tuple(rows)), *signed, *_control(record, w)))


def _control(record: Traced, w: Words) -> list[Table]:
    """Every move of the control lease: who could confirm what changes the car, on which device."""
    rows = tuple(
        row(
            wall_text(event.wall, event.wall_trust, w),
            _holder(body.by, body.device, w),
            w(f"control.{body.how.value}", reason=body.reason) if body.reason else w(f"control.{body.how.value}"),
            _holder(body.before_by, body.before_device, w),
            events=(event.sequence,),
        )
        for event, body in record.of(b.ControlMoved)
    )
    head = tuple(w(f"control.{h}") for h in ("when", "who", "how", "before"))
    return [Table(w("control.title"), head, (5, 5, 4, 4), rows)] if rows else []


def _holder(by: str, device: str, w: Words) -> str:
    return ", ".join(part for part in (by, device) if part) or w("control.nobody")


def counts(record: Traced, w: Words) -> Section:
    """How many events of each type, beside what the closing event says, so that a cut shows."""
    numbers, closed = record.last(b.JobClosed)
    stated = closed.counts if closed else {}
    rows: list[Row] = []
    for kind in dict.fromkeys((*record.counts, *stated)):
        have = record.counts.get(kind, 0)
        said = "–" if closed is None else str(stated.get(kind, 0))
        wrong = closed is not None and stated.get(kind, 0) != have
        cell = Cell(f"{said}: {w('counts.missing')}", "fail") if wrong else Cell(said)
        rows.append(row(kind, str(have), cell, events=numbers or (record.events[-1].sequence,)))
    head = tuple(w(h) for h in ("counts.type", "counts.number", "counts.stated"))
    return Section(w("counts.title"), (Table("", head, (5, 2, 6), tuple(rows)),))


def _is_chunk(name: str, content: bytes) -> bool:
    """Whether a file's name ends in its own SHA-256, so that a line of its own would say nothing more."""
    return name.endswith("/" + hashlib.sha256(content).hexdigest())


def verify(record: Traced, head_hash: str, attached: Mapping[str, bytes], w: Words) -> Section:
    """How a stranger checks the paper against the record."""
    lines = tuple(Line(w(f"verify.{n}")) for n in range(1, 5))
    hashes = Facts("", (fact(w("head"), Cell(head_hash, "bytes")),))
    head = tuple(w(h) for h in ("files.file", "files.size", "files.digest"))
    every = tuple(e.sequence for e in record.events)
    chunks = {name: content for name, content in attached.items() if _is_chunk(name, content)}
    rows = [
        row(name, str(len(content)), Cell(hashlib.sha256(content).hexdigest(), "bytes"), events=every)
        for name, content in attached.items()
        if name not in chunks
    ]
    if chunks:
        size = str(sum(len(content) for content in chunks.values()))
        rows.append(row(w("files.chunks", count=len(chunks)), size, w("files.chunks-digest"), events=every))
    files = Table(w("files.title"), head, (6, 2, 10), tuple(rows), w("files.none"))
    return Section(w("verify.title"), (Lines("", lines), hashes, files, Lines("", (Line(w("head.proves")),))))
