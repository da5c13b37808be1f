"""Trust in procedures for faces: the second typing, withdrawing, what each level may do, where each number is from."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import msgspec

from asleft.book.loader import LoadedProcedure, load_procedure
from asleft.book.numbers import NumberLine, lines_of, prompt_of
from asleft.book.procedure import Way
from asleft.book.trust import Check, Trust, from_page, may, may_check, retype
from asleft.book.trust_file import TrustFile
from asleft.model.errors import Code, InputError
from asleft.model.message import Message
from asleft.model.origin import Origin
from asleft.model.step_more import any_effect_of

from .clock import now_text
from .settings import BOOK, data_folder

#: Ask for one number: what to type, without showing it.
Typing = Callable[[str], str]


class Checked(msgspec.Struct, frozen=True):
    """A check that held: the level it gives, how many numbers, whether the same person did both typings."""

    level: Trust
    numbers: int
    alone: bool


class Allowed(msgspec.Struct, frozen=True):
    """A procedure's level and, for each origin and way it offers, why it may not (empty: it may)."""

    procedure: str
    level: Trust
    withdrawn: str
    checks: tuple[Check, ...]
    may: dict[str, str]


def trust_file() -> TrustFile:
    """The workshop's own file of checks."""
    return TrustFile(data_folder() / "trust.jsonl")


def check_procedure(path: Path, by: str, typing: Typing, on: str = "") -> Checked:
    """Have a second person type every number again, unseen; nothing is kept unless all agree.

    Raises: InputError: procedure-bad, check-failed (also: the same person too early).
    """
    loaded, trust, now = load_procedure(path), trust_file(), now_text(on)
    hours = trust.entered(loaded, by, now)
    may_check(loaded.procedure, by, hours)
    typed = {n.place: typing(prompt_of(loaded.procedure, n)) for n in from_page(loaded)}
    check = retype(loaded, typed, by, now, hours)
    trust.checked(loaded.procedure.id, check)
    return Checked(trust.level(loaded), len(typed), check.alone)


def typing_from(file: Path) -> Typing:
    """Lines of a file as a typing, one a number. Raises InputError: check-failed, the file cannot be read."""
    try:
        lines = iter(file.read_text(encoding="utf-8").splitlines())
    except (OSError, UnicodeDecodeError) as error:
        raise InputError(Code.CHECK_FAILED, f"not readable ({error})", str(file)) from None
    return lambda _: next(lines, "")


def withdraw(path: Path, by: str, why: str, on: str = "") -> None:
    """From now on this procedure is not carried out. Raises InputError: check-failed, procedure-bad."""
    trust_file().withdraw(load_procedure(path).procedure.id, why, by, now_text(on))


def restore(path: Path, by: str, on: str = "") -> None:
    """Take a withdrawal back. Raises InputError: check-failed, procedure-bad."""
    trust_file().restore(load_procedure(path).procedure.id, by, now_text(on))


def allowed(path: Path) -> Allowed:
    """Level and what it may do on a bench car and on a real one."""
    loaded, levels = load_procedure(path), known_trust()
    name = loaded.procedure.id
    found = {
        f"{origin.value} {way.value}": why.text if (why := refusal(loaded, way, origin, levels)) else ""
        for origin in (Origin.BENCH, Origin.VEHICLE)
        for way in loaded.procedure.ways.offered
    }
    kept = trust_file().note(name)
    return Allowed(name, levels(loaded), kept.withdrawn, kept.checks, found)


#: Level of a procedure as it stands now.
Levels = Callable[[LoadedProcedure], Trust]


def known_trust() -> Levels:
    """Levels from the workshop's own file of checks, and from the one that comes with the program for its own book.

    The files are read each time: a check or a withdrawal counts at once.
    """

    def level(loaded: LoadedProcedure) -> Trust:
        first = trust_file().level(loaded)
        return TrustFile(BOOK / "trust.jsonl").level(loaded) if first is Trust.DRAFT else first

    return level


def refusal(loaded: LoadedProcedure, way: Way, origin: Origin, levels: Levels) -> Message | None:
    """Why a procedure may not be started this way on a car of this origin; None when it may."""
    acts = any(any_effect_of(step).needs_receipt for step in loaded.procedure.ways.steps(way))
    return may(levels(loaded), way, origin, acts=acts)


def number_lines(path: Path) -> tuple[NumberLine, ...]:
    """Every number of a procedure: printed form, value, bytes, source, who entered and who checked it."""
    loaded = load_procedure(path)
    return lines_of(loaded, trust_file().note(loaded.procedure.id))
