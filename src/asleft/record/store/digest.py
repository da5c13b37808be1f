"""A job's events as rows of the store. Pure: the same events give the same rows."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from datetime import datetime
from typing import Any, NamedTuple

from asleft.event import body as b
from asleft.event.envelope import Event
from asleft.event.fold import JobState, fold
from asleft.model.fact import FactKey
from asleft.model.module import Item, ModulePicture, Picture
from asleft.model.verdict import Judgement, RunEnd, Verdict

from .terms import folded, value_of, words_of

Row = dict[str, Any]
_NUMBERS = ("part-number", "software-number", "hardware-number", "serial-number", "calibration-id")
#: Facts that name a person.
_NAMING = frozenset(
    {FactKey.CUSTOMER, FactKey.APPROVER, FactKey.SECOND_PERSON, FactKey.ROAD_DRIVER, FactKey.ROAD_OBSERVER}
)
#: Terms that are found from the one box as well.
_NUMBERED = frozenset({"vin", "plate", "order", "number", "module", "code"})
#: Characters of a name that an index takes.
_LONGEST_NAME = 200


class Digest(NamedTuple):
    """Rows of one job, without its id."""

    job: Row
    terms: tuple[Row, ...]
    runs: tuple[Row, ...]
    seen: tuple[Row, ...]
    judged: tuple[Row, ...]


def digest_of(events: Sequence[Event]) -> Digest:
    """The rows of a job. Args: events: all of it, at least one."""
    state = fold(events)
    opened = _time(events[0].wall)
    seen = tuple(_seen(state, events))
    runs, judged = _runs(events)
    terms = [{"kind": kind, "value": value, "opened": opened} for kind, value in sorted(_terms(state, events))]
    return Digest(_job(state, events, opened), tuple(terms), tuple(runs), seen, tuple(judged))


def _job(state: JobState, events: Sequence[Event], opened: str) -> Row:
    car, closed = state.vehicle, state.closed
    return {
        "number": _name(state.number),
        "events": len(events),
        "origin": state.origin.value,
        "workshop": _text(state.opened.workshop) if state.opened else "",
        "vin": _name(car.vin.text) if car else "",
        "plate": _fact(state, FactKey.PLATE),
        "order_text": _text(state.opened.order) if state.opened else "",
        "make": _text(car.make) if car else "",
        "model": _text(car.model) if car else "",
        "year": car.year if car and car.year is not None and 0 <= car.year <= 9999 else None,
        "work": "; ".join(_text(item.text) for item in state.work_items),
        "opened": opened,
        "closed": _time(state.closed_wall) if closed else "",
        "released": bool(closed and closed.released),
        "performed_by": _text(closed.performed_by) if closed else "",
        "open_items": len(state.open_items),
    }


def _text(text: str) -> str:
    """A text that every data base takes: no nought, and nothing where it was erased."""
    return text.replace("\0", "\ufffd") if folded(text) else ""


def _name(text: str) -> str:
    """A text that an index takes as well: longer ones are cut."""
    return _text(text)[:_LONGEST_NAME]


def _time(wall: str) -> str:
    """A wall time to the millisecond, so that texts sort as times do."""
    try:
        at = datetime.fromisoformat(wall)
    except ValueError:
        return _name(wall)
    return at.replace(tzinfo=None).isoformat(timespec="milliseconds") + "Z"


def _fact(state: JobState, key: FactKey) -> str:
    return next((_text(fact.text) for fact in reversed(state.facts) if fact.key is key), "")


# -- terms -----------------------------------------------------------------------------------------------------------


def _terms(state: JobState, events: Sequence[Event]) -> set[tuple[str, str]]:
    vin = value_of("vin", state.vehicle.vin.text) if state.vehicle else ""
    found = {("vin", vin), ("vin", vin[-8:]), ("number", value_of("number", state.number))}
    found.add(("order", value_of("order", state.opened.order if state.opened else "")))
    found |= {("plate", value_of("plate", f.text)) for f in state.facts if f.key is FactKey.PLATE}
    for module in _modules(events):
        found |= {("module", value_of("module", module.value(key))) for key in _NUMBERS}
        for code in module.codes:
            found |= {("code", value_of("code", code.code)), ("code", value_of("code", code.full))}
    for run in state.runs.values():
        found |= {("procedure", value_of("procedure", t)) for t in (run.started.procedure, run.started.function)}
    people = set(_people(state, events))
    found |= {("person", value_of("person", name)) for name in people}
    found |= {("person", word) for word in words_of(people)}
    found |= {("word", value) for kind, value in found if kind in _NUMBERED}
    found |= {("word", word) for word in words_of((*_texts(state, events), *people))}
    return {(kind, value) for kind, value in found if value}


def _modules(events: Sequence[Event]) -> Iterable[ModulePicture]:
    for event in events:
        if isinstance(event.body, b.PictureTaken):
            yield from event.body.picture.modules
        elif isinstance(event.body, b.ModulePictureTaken):
            yield event.body.picture


def _people(state: JobState, events: Sequence[Event]) -> Iterable[str]:
    yield from (event.actor for event in events if event.actor != "asleft")
    yield from (answer.by for _, answer in state.questions.values() if answer is not None)
    yield from (body.by for body in (e.body for e in events) if isinstance(body, b.ConditionWaived | b.Corrected))
    yield from (fact.text for fact in state.facts if fact.key in _NAMING)
    if state.closed:
        yield state.closed.performed_by


def _texts(state: JobState, events: Sequence[Event]) -> Iterable[str]:
    if state.vehicle:
        yield from (state.vehicle.make, state.vehicle.model, str(state.vehicle.year or ""))
    yield from (item.text for item in state.work_items)
    if state.opened:
        yield state.opened.order
    for fact in state.facts:
        yield from (fact.text, fact.source)
    yield from (need.name for need in state.needs)
    yield from (message.text for message in (*state.notes, *state.open_items.values()))
    for run in state.runs.values():
        yield from (run.started.name, run.result.text if run.result else "")
    for module in _modules(events):
        yield module.address.name
        yield from (code.text for code in module.codes)
    if state.closed:
        yield state.closed.statement.text


# -- runs ------------------------------------------------------------------------------------------------------------


class _Open:
    """A run while its events go by."""

    def __init__(self, body: b.RunStarted, event: Event) -> None:
        self.body, self.began, self.began_s = body, _time(event.wall), event.monotonic_s
        self.end: b.RunEnded | None = None
        self.end_s = 0.0
        self.attempts = 1
        self.judged: dict[str, Judgement] = {}
        self.unmet: list[str] = []


def _runs(events: Sequence[Event]) -> tuple[list[Row], list[Row]]:
    """Rows of runs and of everything judged in them."""
    runs: dict[str, _Open] = {}
    judged: list[Row] = []
    for event in events:
        body = event.body
        if isinstance(body, b.RunStarted):
            runs[body.run] = _Open(body, event)
        run = runs.get(str(getattr(body, "run", "")))
        if run is None:
            continue
        if isinstance(body, b.RunEnded):
            run.end, run.end_s = body, event.monotonic_s
        elif isinstance(body, b.RetestDeclared):
            run.attempts, run.judged = body.attempt, {}
        elif isinstance(body, b.ConditionsSeen):
            run.unmet = [r.condition for r in body.results if r.state.value == "not-met"]
        elif isinstance(body, b.CriterionJudged):
            run.judged[body.judgement.criterion] = body.judgement
            judged.append(_judged(run.body, body.judgement, len(judged) + 1, _time(event.wall)))
    return [_run(run, place) for place, run in enumerate(runs.values(), 1)], judged


def _run(run: _Open, place: int) -> Row:
    started, end = run.body, run.end
    return {
        "run": _name(started.run),
        "place": place,
        "function": _text(started.function),
        "procedure": _name(started.procedure),
        "name": _text(started.name),
        "way": _text(started.way),
        "digest": _text(started.digest),
        "began": run.began,
        "seconds": _finite(max(0.0, run.end_s - run.began_s)) if end else None,
        "ended": end.end.value if end else "",
        "verdict": end.verdict.value if end and end.verdict else "",
        "why": _why(run),
        "attempts": run.attempts,
    }


def _why(run: _Open) -> str:
    """Why a run did not pass: the criteria that failed, those that cannot be told, or how it ended; one reason."""
    for verdict in (Verdict.FAIL, Verdict.CANNOT_TELL):
        found = sorted(_text(j.criterion) for j in run.judged.values() if j.verdict is verdict)
        if found and run.end and run.end.verdict is verdict:
            return f"{verdict.value}: {', '.join(found)}"
    if run.end is None or run.end.end is RunEnd.COMPLETED:
        return ""
    unmet = f": {', '.join(sorted(run.unmet))}" if run.unmet else f": {_text(run.end.message.id)}"
    return f"{run.end.end.value}{unmet}"


def _judged(run: b.RunStarted, judgement: Judgement, place: int, at: str) -> Row:
    limits = judgement.limits
    return {
        "place": place,
        "run": _name(run.run),
        "procedure": _name(run.procedure),
        "criterion": _name(judgement.criterion),
        "name": _text(judgement.name),
        "verdict": judgement.verdict.value,
        "value": _finite(judgement.value),
        "u": _finite(judgement.u),
        "unit": _text(limits.unit),
        "low": _finite(limits.low),
        "high": _finite(limits.high),
        "at": at,
    }


# -- pictures --------------------------------------------------------------------------------------------------------


def _seen(state: JobState, events: Sequence[Event]) -> Iterable[Row]:
    walls = {e.body.picture.kind: _time(e.wall) for e in events if isinstance(e.body, b.PictureTaken)}
    for kind, picture in state.pictures.items():
        rows = {(row["module"], row["key"]): row for row in _of_picture(picture, walls[kind])}
        yield from rows.values()


def _of_picture(picture: Picture, at: str) -> Iterable[Row]:
    for module in picture.modules:
        place = {"picture": picture.kind.value, "module": _name(module.address.name), "at": at}
        for kind in ("identification", "coding", "learned"):
            for item in getattr(module, kind):
                yield place | _item(item, kind)
        for code in module.codes:
            yield place | _row(f"code:{code.kind.value}:{code.full}", "code", code.text, code.full)


def _item(item: Item, kind: str) -> Row:
    if item.absence is not None:
        return _row(item.key, kind, item.name, "") | {"value": f"({item.absence.kind.value})"}
    return _row(item.key, kind, item.name, item.value) | {"unit": _text(item.unit), "number": _number(item.value)}


def _row(key: str, kind: str, name: str, value: str) -> Row:
    texts = {"key": _name(key), "kind": kind, "name": _text(name), "value": _text(value)}
    return {**texts, "unit": "", "number": None}


def _number(text: str) -> float | None:
    try:
        return _finite(float(text.replace(",", ".")))
    except ValueError:
        return None


def _finite(value: float | None) -> float | None:
    return value if value is not None and math.isfinite(value) else None
