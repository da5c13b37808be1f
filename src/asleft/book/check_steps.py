"""What must be right in the steps of each way. Pure."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from itertools import pairwise

from asleft.model.errors import InputError
from asleft.model.step import KeyCycle, Observe, RoutineResult, RoutineStart
from asleft.model.step_coding import Coding, FunctionTests
from asleft.model.step_more import (
    Access,
    Actuate,
    AnyStep,
    Base,
    DriveSegment,
    Edge,
    Mark,
    Read,
    RestartModule,
    TimedSequence,
    TypeIn,
    WaitUntil,
    Write,
    any_effect_of,
)

from .check_conditions import condition_complaints
from .form import file_key
from .functions import hard_stop
from .identifier import parse
from .layouts import own_layout
from .printed import any_bytes, two_bytes
from .procedure import Procedure, Way
from .remark import Complaint, Path, nearest
from .signal_units import SIGNAL_UNITS

Rule = Callable[[Procedure], Iterator[Complaint]]


def _hard_stop(procedure: Procedure) -> Iterator[Complaint]:
    """Restraints, high voltage, security and odometer: read and verify only."""
    stop = hard_stop(procedure.function, procedure.module)
    if stop is None:
        return
    for path, step in _steps(procedure):
        if any_effect_of(step).needs_receipt:
            yield Complaint(path, "hard-stop", stop.value, "a step that reads, or the beside way with a question")


def _identifier(procedure: Procedure) -> Iterator[Complaint]:
    for way in Way:
        steps = procedure.ways.all_steps(way)
        started = False
        for n, step in enumerate(steps):
            path: Path = ("ways", way.value, n)
            if isinstance(step, RoutineStart | RoutineResult) and procedure.identifier is None:
                yield Complaint(path, "no-identifier", "a routine is used, but no identifier is given", "identifier: …")
            if isinstance(step, RoutineResult) and not started:
                yield Complaint(path, "sequence", "the result is asked for before a start", "routine-start before it")
            started = started or isinstance(step, RoutineStart)
            if isinstance(step, RoutineStart | RoutineResult) and step.identifier:
                yield from _another(procedure, (*path, "identifier"), step.identifier)
    if procedure.identifier is None:
        return
    if not procedure.identifier.typed and not procedure.identifier.rows:
        yield Complaint(("identifier",), "no-identifier", "neither typed nor rows", "typed: true, or rows")
    for n, row in enumerate(procedure.identifier.rows):
        try:
            parse(row.identifier, procedure.identifier.printed)
        except InputError as error:
            yield Complaint(
                ("identifier", "rows", n, "identifier"), "identifier", error.detail, "as the page prints it"
            )


def _another(procedure: Procedure, path: Path, printed: str) -> Iterator[Complaint]:
    """A second routine is fixed in the file: it is for exactly the modules that the procedure names."""
    if not procedure.applies.numbers:
        why = "a routine without a table of its own is for named modules only"
        yield Complaint(path, "identifier", why, "applies.numbers: part and software numbers of the page")
    try:
        parse(printed, Base.HEX)
    except InputError as error:
        yield Complaint(path, "identifier", error.detail, "as the page prints it, hexadecimal")


def _rows(procedure: Procedure) -> Iterator[Complaint]:
    rows = procedure.identifier.rows if procedure.identifier else ()
    for n, row in enumerate(rows):
        for earlier in rows[:n]:
            if (row.part_number, row.software_number) == (earlier.part_number, earlier.software_number):
                why = f"{earlier.row} has the same part and software number"
                yield Complaint(("identifier", "rows", n), "same-row", why, "keep the one the page prints")


def _signals(procedure: Procedure) -> Iterator[Complaint]:
    for path, step in _steps(procedure):
        if isinstance(step, Observe | KeyCycle | DriveSegment):
            for n, signal in enumerate(step.signals):
                if signal not in SIGNAL_UNITS:
                    near = nearest(signal, tuple(SIGNAL_UNITS)) or "a signal of the list in the docs"
                    yield Complaint((*path, "signals", n), "signal", f'"{signal}" is no known signal', near)


_LEAST: dict[type, tuple[tuple[str, float], ...]] = {
    Observe: (("seconds", 1.0),),
    KeyCycle: (("times", 1), ("off_s", 1.0), ("settle_s", 0.0), ("seconds", 0.0)),
    RoutineResult: (("every_s", 0.1), ("timeout_s", 1.0)),
    WaitUntil: (("timeout_s", 1.0),),
    Actuate: (("seconds", 0.1),),
    Access: (("level", 1),),
    RestartModule: (("settle_s", 0.0),),
    DriveSegment: (("hold_s", 1.0),),
}


def _lengths(procedure: Procedure) -> Iterator[Complaint]:
    for path, step in _steps(procedure):
        for field, least in _LEAST.get(type(step), ()):
            value = getattr(step, field)
            if value < least:
                yield Complaint((*path, file_key(field)), "range", f"{value:g} is too small", f"at least {least:g}")


def _saves(procedure: Procedure) -> Iterator[Complaint]:
    for way in Way:
        seen: set[str] = set()
        for n, step in enumerate(procedure.ways.all_steps(way)):
            save = getattr(step, "save", "")
            if not save:
                continue
            if save in seen:
                why = f'"{save}" is saved by an earlier step already'
                yield Complaint(("ways", way.value, n, "save"), "same-save", why, "another name")
            seen.add(save)


def _suspends(procedure: Procedure) -> Iterator[Complaint]:
    known = tuple(lock.holds for lock in procedure.interlocks)
    for path, step in _steps(procedure):
        for n, name in enumerate(getattr(step, "suspends", ())):
            if name not in known:
                near = nearest(name, known) or "the name of an interlock"
                yield Complaint((*path, "suspends", n), "interlock", f'"{name}" is no interlock', near)


def _printed(procedure: Procedure) -> Iterator[Complaint]:
    """Identifiers and bytes that could not be sent."""
    for path, step in _steps(procedure):
        if not isinstance(step, Read | Write | Actuate):
            continue
        texts = [("identifier", two_bytes)]
        texts += [("value", any_bytes)] if isinstance(step, Write) and step.value else []
        texts += [("state", any_bytes)] if isinstance(step, Actuate) else []
        for field, read in texts:
            try:
                read(getattr(step, field), step.printed)
            except InputError as error:
                yield Complaint((*path, field), "identifier", error.detail, "as the page prints it")


def _typed(procedure: Procedure) -> Iterator[Complaint]:
    """A write takes its value from the file or from one earlier typing, never from both or neither."""
    for way in Way:
        seen: list[str] = []
        for n, step in enumerate(procedure.ways.all_steps(way)):
            path: Path = ("ways", way.value, n)
            if isinstance(step, TypeIn):
                seen.append(step.save)
            if isinstance(step, Write) and bool(step.value) == bool(step.saved):
                yield Complaint(path, "value", "a write has either a value or a typed one", "value: … or saved: …")
            elif isinstance(step, Write) and step.saved and step.saved not in seen:
                near = nearest(step.saved, tuple(seen)) or "a type-in step before it"
                yield Complaint((*path, "saved"), "saved", f'nothing was typed as "{step.saved}" before', near)


def _codings(procedure: Procedure) -> Iterator[Complaint]:
    """A coding names a layout of its module; what is tried was coded before."""
    for way in Way:
        coded: list[str] = []
        for n, step in enumerate(procedure.ways.all_steps(way)):
            path: Path = ("ways", way.value, n)
            if isinstance(step, Coding):
                coded.append(step.save)
                yield from _layout(procedure, (*path, "layout"), step)
            elif isinstance(step, FunctionTests) and step.of not in coded:
                near = nearest(step.of, tuple(coded)) or "a coding step before it"
                yield Complaint((*path, "of"), "saved", f'nothing was coded as "{step.of}" before', near)


def _layout(procedure: Procedure, path: Path, step: Coding) -> Iterator[Complaint]:
    try:
        layout = own_layout(step.layout)
    except InputError as error:
        yield Complaint(path, "layout", error.detail or "it cannot be read", "the id of a layout")
        return
    if layout.module != procedure.module:
        why = f"it is for the {layout.module} module, the procedure for {procedure.module}"
        yield Complaint(path, "layout", why, "a layout of this module")


def _step_conditions(procedure: Procedure) -> Iterator[Complaint]:
    for path, step in _steps(procedure):
        if isinstance(step, WaitUntil):
            yield from condition_complaints((*path, "condition"), step.condition)
        if isinstance(step, DriveSegment):
            for n, condition in enumerate(step.conditions):
                yield from condition_complaints((*path, "conditions", n), condition)
            if step.timeout_s < step.hold_s:
                why = "it would be given up before it can have held"
                yield Complaint((*path, "timeout-s"), "range", why, f"at least {step.hold_s:g}")


def _sequences(procedure: Procedure) -> Iterator[Complaint]:
    for path, step in _steps(procedure):
        if not isinstance(step, TimedSequence):
            continue
        if not step.marks:
            yield Complaint((*path, "marks"), "sequence", "a timed sequence without acts", "at least one act")
        for n, mark in enumerate(step.marks):
            yield from _mark((*path, "marks", n), mark)
        for n, (a, b) in enumerate(pairwise(step.marks), 1):
            if b.at_s <= a.at_s:
                yield Complaint(
                    (*path, "marks", n, "at-s"), "sequence", "not after the act before it", f"more than {a.at_s:g}"
                )


def _mark(path: Path, mark: Mark) -> Iterator[Complaint]:
    """An act that a signal shows says how; a rise or a fall has its two levels."""
    if bool(mark.signal) != (mark.edge is not None):
        yield Complaint(path, "sequence", "a signal and its edge come together", "signal: … and edge: …, or neither")
    if mark.signal and mark.signal not in SIGNAL_UNITS:
        near = nearest(mark.signal, tuple(SIGNAL_UNITS)) or "a signal of the list in the docs"
        yield Complaint((*path, "signal"), "signal", f'"{mark.signal}" is no known signal', near)
    if mark.edge in (Edge.RISES, Edge.FALLS) and (mark.level is None or mark.back is None or mark.level <= mark.back):
        yield Complaint(path, "sequence", "a rise or fall has a level, and back below it", "level: … and back: …")
    if min(mark.early_s, mark.late_s, mark.lag_s) < 0.0:
        yield Complaint(path, "range", "a tolerance is not negative", "0 or more")
    low, high = mark.gap_low_s, mark.gap_high_s
    if low is not None and high is not None and high <= low:
        yield Complaint((*path, "gap-high-s"), "range", f"{high:g} is not above {low:g}", f"more than {low:g}")


def _steps(procedure: Procedure) -> Iterator[tuple[Path, AnyStep]]:
    for way in Way:
        for n, step in enumerate(procedure.ways.all_steps(way)):
            yield ("ways", way.value, n), step


STEP_RULES: tuple[Rule, ...] = (
    _hard_stop,
    _identifier,
    _rows,
    _signals,
    _lengths,
    _saves,
    _printed,
    _typed,
    _codings,
    _step_conditions,
    _sequences,
    _suspends,
)
