"""Work items and findings to needs, each with its chain of reasons. Pure.

Use::

    found = find_needs((WorkItem("throttle-removed-refitted", ""),), codes=picture.codes)
    found.needs, found.questions, found.checks, found.first, found.before
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence

import msgspec

from asleft.book.functions import name_of
from asleft.model.message import Message, say
from asleft.model.module import Picture
from asleft.model.trouble import TroubleCode
from asleft.model.work import Grade, Need, WorkItem

from .entails import with_entailed
from .findings import findings
from .picture_findings import from_pictures
from .work_items import find_row, row_for
from .work_rows import FITTINGS, Call, WorkRow


class NeedsFound(msgspec.Struct, frozen=True):
    """All that work and findings call for.

    Attributes:
        needs: required first, then advisable, then not needed; each function once.
        questions: fittings on which a need depends and that nobody answered: slug -> words.
        checks: advisable things that are no function.
        first: mechanical prerequisites.
        before: what must be read before the part comes off.
        notes: findings that bar a learn or name no function of the list.
    """

    needs: tuple[Need, ...]
    questions: dict[str, str]
    checks: tuple[Message, ...]
    first: tuple[Message, ...]
    before: tuple[Message, ...]
    notes: tuple[Message, ...]

    @property
    def points(self) -> tuple[str, ...]:
        """The prerequisites as points of the order rules, such as ``wheel-alignment``."""
        return tuple(message.values["what"].replace(" ", "-") for message in self.first)


class _Work(msgspec.Struct, frozen=True):
    """One row that a work item stands for; ``included`` when by way of another row."""

    item: WorkItem
    row: WorkRow
    included: bool

    @property
    def done(self) -> Message:
        return say("need.work", "work done: {work}", work=self.item.text or self.row.text)


class _Call(msgspec.Struct, frozen=True):
    function: str
    grade: Grade
    reasons: tuple[Message, ...]


def needs(
    work_items: Sequence[WorkItem],
    pictures: Sequence[Picture] = (),
    codes: Iterable[TroubleCode] = (),
    procedures: Mapping[str, str] | None = None,
) -> tuple[Need, ...]:
    """The needs alone; see ``find_needs``."""
    return find_needs(work_items, pictures, codes, procedures=procedures).needs


def find_needs(
    work_items: Sequence[WorkItem],
    pictures: Sequence[Picture] = (),
    codes: Iterable[TroubleCode] = (),
    *,
    fitted: Mapping[str, bool] | None = None,
    procedures: Mapping[str, str] | None = None,
) -> NeedsFound:
    """What is needed, and why.

    Args:
        work_items: what was done. pictures: taken so far; they show what is fitted. codes: as received and as found.
        fitted: answers to questions, by fitting. procedures: id by function, of the procedures that fit the car.
    Raises: InputError: unknown-work-item, with the nearest offered.
    """
    known = {**_seen_fitted(pictures), **(fitted or {})}
    works = [work for item in work_items for work in _works(item)]
    calls: list[_Call] = []
    questions: dict[str, str] = {}
    for work in works:
        calls.extend(_from_call(work, call, known, questions) for call in work.row.calls)
        calls.extend(_habit(work, function, why) for function, why in work.row.not_needed)
    noted: list[Message] = []
    for finding in findings(codes):
        if finding.function:
            calls.append(_Call(finding.function, finding.grade, (finding.reason,)))
        else:
            noted.append(finding.reason)
    for function, grade, reason in from_pictures(pictures):
        if function:
            calls.append(_Call(function, grade, (reason,)))
        else:
            noted.append(reason)
    return NeedsFound(
        with_entailed(_merge(calls, procedures or {}), procedures or {}),
        questions,
        _told("need.check", "check: {what}", works, "checks"),
        _told("need.first", "first: {what}", works, "first"),
        _told("need.before", "before the part comes off: {what}", works, "before"),
        _each_once(noted),
    )


def _works(item: WorkItem) -> Iterator[_Work]:
    row = row_for(item)
    yield _Work(item, row, included=False)
    for name in row.also:
        yield _Work(item, find_row(name), included=True)


def _from_call(work: _Work, call: Call, known: Mapping[str, bool], questions: dict[str, str]) -> _Call:
    reasons = [work.done]
    if work.included:
        reasons.append(say("need.includes", "this counts as: {work}", work=work.row.text))
    reasons.append(say("need.why", "{why}", why=work.row.why))
    if call.note:
        reasons.append(say("need.note", "{note}", note=call.note))
    if not call.only_if:
        return _Call(call.function, call.grade, tuple(reasons))
    fitting = FITTINGS[call.only_if][0]
    answer = known.get(call.only_if)
    if answer is None:
        questions.setdefault(call.only_if, fitting)
        reasons.append(say("need.if-fitted", "only with {fitting}; not answered yet", fitting=fitting))
        return _Call(call.function, Grade.ADVISABLE, tuple(reasons))
    told = "this car has {fitting}" if answer else "this car does not have {fitting}"
    reasons.append(say("need.fitted" if answer else "need.not-fitted", told, fitting=fitting))
    return _Call(call.function, call.grade if answer else Grade.NOT_NEEDED, tuple(reasons))


def _habit(work: _Work, function: str, why: str) -> _Call:
    return _Call(function, Grade.NOT_NEEDED, (work.done, say("need.against", "not needed: {why}", why=why)))


def _each_once(messages: Iterable[Message]) -> tuple[Message, ...]:
    return tuple({m.text: m for m in messages}.values())


def _seen_fitted(pictures: Sequence[Picture]) -> dict[str, bool]:
    """Fittings shown by a module that answered; silence shows nothing."""
    answered = {m.address.name for p in pictures for m in p.modules if m.responded}
    return {slug: True for slug, (_, modules) in FITTINGS.items() if answered & set(modules)}


_RANK = {Grade.REQUIRED: 0, Grade.ADVISABLE: 1, Grade.NOT_NEEDED: 2}


def _merge(calls: Sequence[_Call], procedures: Mapping[str, str]) -> tuple[Need, ...]:
    """One need a function, as first called for: the strongest grade, the reasons for it, no reason twice."""
    merged: list[Need] = []
    for function in dict.fromkeys(call.function for call in calls):
        mine = sorted((c for c in calls if c.function == function), key=lambda c: _RANK[c.grade])
        grade = mine[0].grade
        reasons = _each_once(r for c in mine if c.grade is grade for r in c.reasons)
        merged.append(Need(function, name_of(function), grade, reasons, procedures.get(function, "")))
    return tuple(sorted(merged, key=lambda need: _RANK[need.grade]))


def _told(message_id: str, template: str, works: Sequence[_Work], field: str) -> tuple[Message, ...]:
    texts: list[str] = [text for work in works for text in getattr(work.row, field)]
    return tuple(say(message_id, template, what=text) for text in dict.fromkeys(texts))
