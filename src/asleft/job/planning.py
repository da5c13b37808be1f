"""Needs, plan and screening of a job, from its state and the book; the cautions of the work; the closing statement."""

from __future__ import annotations

import msgspec

from asleft.book.edges import ORDER_EDGES
from asleft.book.fit import CarFacts
from asleft.book.loader import LoadedProcedure
from asleft.book.procedure import ModuleNumbers
from asleft.book.shelf import Book
from asleft.event.fold import JobState
from asleft.model.effect import Settlement
from asleft.model.message import Message, say
from asleft.model.module import Difference, Picture, PictureKind
from asleft.model.trouble import TroubleCode
from asleft.model.verdict import Verdict
from asleft.model.work import Grade, Need, Plan, ScreenClass, ScreenedCode, WorkItem
from asleft.plan.needs import NeedsFound, find_needs
from asleft.plan.planned import Planned
from asleft.plan.planner import Bounds, timing_of, to_plan, work_out
from asleft.plan.screening import screen as screen_codes
from asleft.plan.workshop import INSIDE, Workshop

from .throttle_kind import led, throttle_of

#: Id of the procedure that ends every job.
CLOSING_PROCEDURE = "planned-clear"

#: Word in a work item's text -> what a technician is usually warned of. Common practice, no source; the licensed manual
#: and local codes outrank it.
_CAUTIONS: tuple[tuple[str, str], ...] = (
    ("throttle", "Key off before a hand goes near the throttle plate: it moves by itself and snaps shut."),
    ("throttle", "Cleaner is flammable and its vapour harmful: cold engine, fresh air, no sparks, gloves and glasses."),
    ("battery", "Disconnect the earth terminal first; no metal across the terminals; memory and alarm may react."),
    ("airbag", "Restraint systems: by the licensed manual and by trained persons only."),
    ("brake", "Brakes: by the licensed manual; test before the car moves."),
)


class Asked(msgspec.Struct, frozen=True):
    """What a person says about a plan beside the work done.

    Attributes:
        fitted: answers on fittings. workshop: its minutes, chances and waits. promised_min: until the car was promised.
        given: functions in the order somebody had in mind.
    """

    fitted: dict[str, bool] = {}
    workshop: Workshop = Workshop()
    promised_min: float | None = None
    given: tuple[str, ...] = ()


def fittings_asked_for(state: JobState, book: Book, known: dict[str, bool]) -> dict[str, str]:
    """Fittings on which a need depends and that neither a picture nor an answer shows: slug -> words."""
    found, _ = needs_and_problem(state, book, Asked(fitted=known))
    return found.questions


def needs_and_plan(state: JobState, book: Book, asked: Asked | None = None) -> tuple[NeedsFound, Plan]:
    """What the work and the pictures call for, with the procedures that fit, in the best order.

    Raises: InputError: unknown-work-item, plan-cycle, state-unreachable, cost-missing.
    """
    found, planned = needs_and_problem(state, book, asked)
    return found, to_plan(planned, planned.given(_required(found.needs)))


def needs_and_problem(state: JobState, book: Book, asked: Asked | None = None) -> tuple[NeedsFound, Planned]:
    """As ``needs_and_plan``, with the problem that can be asked again. Raises: as there."""
    asked = asked or Asked()
    pictures = [p for p in state.pictures.values() if not p.not_taken]
    codes = tuple(c for p in pictures for c in p.codes)
    first = led(find_needs(state.work_items, pictures, codes, fitted=asked.fitted), pictures, asked.fitted)
    fitting = _fitting(first.needs, state, book)
    ids = {f: p.procedure.id for f, p in fitting.items()}
    found = find_needs(state.work_items, pictures, codes, fitted=asked.fitted, procedures=ids)
    found = led(found, pictures, asked.fitted, ids)
    timings = {f: t for f, p in fitting.items() if (t := timing_of(p.procedure)) is not None}
    edges = [*ORDER_EDGES, *(edge for p in fitting.values() for edge in p.procedure.edges)]
    wanted = [need for need in found.needs if need.grade is Grade.REQUIRED]
    inside = tuple(point for point in found.points if point in INSIDE)
    bounds = Bounds(asked.workshop, inside, found.points, asked.promised_min)
    return found, work_out(wanted, timings, edges=edges, bounds=bounds)


def _required(needs: tuple[Need, ...]) -> tuple[str, ...]:
    return tuple(need.function for need in needs if need.grade is Grade.REQUIRED)


def _fitting(needs: tuple[Need, ...], state: JobState, book: Book) -> dict[str, LoadedProcedure]:
    """By function, the procedure that fits the car exactly; nothing near is ever taken."""
    if state.vehicle is None:
        return {}
    facts = car_facts(state)
    found = ((n.function, book.fitting(n.function, state.vehicle, facts)) for n in needs)
    return {function: loaded for function, loaded in found if loaded is not None}


def car_facts(state: JobState) -> CarFacts:
    """What the newest picture tells of the car beyond its order: part and software numbers of its modules."""
    pictures = (_taken(state, kind) for kind in (PictureKind.AS_FOUND, PictureKind.AS_RECEIVED))
    modules = next((picture.modules for picture in pictures if picture and not picture.not_taken), ())
    pairs = ((m.value("part-number"), m.value("software-number")) for m in modules)
    throttle = throttle_of(state.pictures.values())
    return CarFacts(
        throttle=throttle, numbers=tuple(ModuleNumbers(part, software or "") for part, software in pairs if part)
    )


def screen(loaded: LoadedProcedure, state: JobState) -> tuple[ScreenedCode, ...]:
    """Codes of both pictures sorted for one procedure; those on no list wait for a person."""
    procedure = loaded.procedure
    received, found = (_taken(state, k) for k in (PictureKind.AS_RECEIVED, PictureKind.AS_FOUND))
    return screen_codes(procedure.function, procedure.screening, received, found, module=procedure.module)


def _taken(state: JobState, kind: PictureKind) -> Picture | None:
    return state.pictures.get(kind)


def sorted_by(code: ScreenedCode, screen: ScreenClass, by: str) -> ScreenedCode:
    """A code that a person sorted."""
    reason = say("screen.by-person", "sorted at the car: {screen}", screen=screen.value)
    return msgspec.structs.replace(code, screen=screen, sorted_by=by, reason=reason)


def explained(state: JobState, book: Book, found: tuple[Difference, ...]) -> tuple[Difference, ...]:
    """Differences with whether they were meant: by the work, by a procedure that was carried out, by the clear.

    What nothing explains stays unexplained (None); it is never called intended for want of a better word.
    """
    meant = _meant(state, book)
    return tuple(msgspec.structs.replace(d, intended=True) if (d.module, d.key) in meant else d for d in found)


def _meant(state: JobState, book: Book) -> set[tuple[str, str]]:
    expected = {
        (c.code.module, _code_key(c.code))
        for codes in state.screened.values()
        for c in codes
        if c.screen is ScreenClass.EXPECTED
    }
    cleared = {(c.module, _code_key(c)) for clear in state.clears for c in clear.removed}
    permanent = {(module, key.replace(":stored:", ":permanent:")[:-3]) for module, key in cleared}
    changed: set[tuple[str, str]] = set()
    done = {e.intent.run for e in state.effects.values() if e.settlement is Settlement.DONE}
    for run_id, run in state.runs.items():
        if run_id in done:
            procedure = book.procedure(run.started.procedure).procedure
            changed |= {(procedure.module, key) for key in procedure.changes}
    return expected | cleared | permanent | changed


def _code_key(code: TroubleCode) -> str:
    return f"code:{code.kind.value}:{code.full}"


def work_cautions(items: tuple[WorkItem, ...]) -> tuple[str, ...]:
    """The usual cautions of the work, each once."""
    text = " ".join(item.text.casefold() for item in items)
    return tuple(caution for word, caution in _CAUTIONS if word in text)


def statement(state: JobState) -> tuple[Message, bool]:
    """What may be said at the end, and whether the car is released; a FAIL is never released silently."""
    proven = [r for r in state.runs.values() if r.verdict is not None]
    last = {r.started.function: r for r in proven}.values()
    counted = [r for r in proven if r in last or r.verdict is Verdict.FAIL]  # an attempt that was cut, then repeated
    not_passed = [r.started.name for r in counted if r.verdict is not Verdict.PASS]
    required = {n.function for n in state.needs if n.grade is Grade.REQUIRED}
    done = {r.started.function for r in proven if r.verdict is Verdict.PASS}
    missing = sorted(required - done - {r.started.function for r in proven})
    scope = "The listed functions were performed and judged as shown; no other system was assessed."
    if not_passed:
        text = scope + " Not proved: {names}."
        return say("statement.not-released", text, names="; ".join(not_passed)), False
    if missing or state.unsettled:
        names = ", ".join(m.replace("-", " ") for m in missing) or "an effect nobody could read back"
        return say("statement.open", scope + " Required and still open: {names}.", names=names), False
    return say("statement.released", scope), True
