"""The quick procedure: written at the car in four minutes, for work beside a tester. It sends nothing.

Five things and no more: source page, entry conditions, the action in a line, the result to expect, limits::

    quick: idle-relearn
    source: {title: "...", edition: "...", page: "..."}
    entry: [coolant 80-100 degC, "P, parking brake on", loads off]
    action: started on the other tester as on the page; I mark start and end
    result: idle comes down and stays; that tester's report attached
    limits: [idle 750 +/- 50 rpm]
    by: {initials: M. O.}

It is valid at once; what is not given stands on the record as a gap and may be completed later as a new revision.
"""

from __future__ import annotations

import msgspec

from asleft.model.step import Ask, Observe
from asleft.model.step_more import AnyStep

from .catalogue_entries import usual_cautions
from .fields import Slug, Text
from .functions import FUNCTIONS, name_of
from .phrases import condition_from, criterion_from
from .procedure import Applies, Procedure, Source, SourceKind, Ways

_SAVED = "idle"
_SIGNALS = (
    "engine-speed",
    "vehicle-speed",
    "coolant-temperature",
    "engine-load",
    "control-module-voltage",
    "short-term-trim-1",
    "long-term-trim-1",
)


class QuickSource(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """Where the numbers stand. The page is the one thing that must be there."""

    page: Text
    title: str = ""
    edition: str = ""
    photo: str = ""


class QuickBy(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """Who wrote it."""

    initials: Text


class QuickProcedure(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """One quick procedure as its file says it.

    Attributes:
        quick: function. id: name in the book; made from function and initials when empty.
        source, entry, action, result, limits, by: the five things and who wrote them.
        applies: cars; without a make it is for the job it was written in.
        module: control module where one is meant.
    """

    quick: Slug
    source: QuickSource
    entry: tuple[Text, ...]
    action: Text
    result: Text
    by: QuickBy
    limits: tuple[Text, ...] = ()
    id: str = ""
    applies: Applies = Applies()
    module: Slug = "engine"

    def procedure(self) -> Procedure:
        """The same as a procedure with the beside way; limits that no criterion can judge stay words."""
        page = f"page {self.source.page}"
        judged = [criterion_from(text, n, page, _SAVED) for n, text in enumerate(self.limits, 1)]
        criteria = tuple(c for c in judged if c is not None)
        words = [text for text, c in zip(self.limits, judged, strict=True) if c is None]
        function = FUNCTIONS.get(self.quick)
        return Procedure(
            id=self.id or f"quick-{self.quick}",
            function=self.quick,
            name=f"{name_of(self.quick)}, quick",
            revision=1,
            source=self._source(),
            risk=function.risk if function else 1,
            module=self.module,
            applies=self.applies,
            cautions=usual_cautions(self.quick),
            entry=tuple(condition_from(text, n, page) for n, text in enumerate(self.entry, 1)),
            ways=Ways(beside=self._steps(observe=bool(criteria))),
            criteria=criteria,
            proof_in_words="; ".join((self.result, *words)),
        )

    def _source(self) -> Source:
        source = self.source
        return Source(source.title, source.edition, source.page, SourceKind.LICENSED_MANUAL, self.by.initials)

    def _steps(self, *, observe: bool) -> tuple[AnyStep, ...]:
        steps: list[AnyStep] = [
            Ask("action", self.action, ("ended", "ended otherwise")),
            Ask("result", f"Seen? {self.result}", ("seen", "not seen")),
        ]
        if observe:
            text = "Let it idle, loads off, nobody at the pedal."
            steps.append(Observe("idle", text, _SIGNALS, 90.0, _SAVED))
        return tuple(steps)
