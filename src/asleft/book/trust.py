"""How far a procedure is trusted: quick, draft, checked, withdrawn; and what each level may do. Pure.

*Checked* means that somebody typed every number a second time from the page without seeing the first. Alone, the same
person may do it after a day; it counts, and is marked so. A changed number is another number: it returns to draft.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator, Mapping
from enum import StrEnum, unique
from typing import Any, cast

import msgspec

from asleft.model.errors import Code, InputError
from asleft.model.message import Message, say
from asleft.model.origin import Origin

from .form import file_key
from .loader import LoadedProcedure
from .procedure import Procedure, Way
from .remark import Path, show

#: How long somebody who checks alone must wait, h. Our own rule.
ALONE_AFTER_H = 20.0
#: How sources begin that no page stands behind.
NO_PAGE = "common practice"


@unique
class Trust(StrEnum):
    """Levels. ``SELF_CHECKED`` is checked, by the one who entered it, after a pause."""

    QUICK = "quick"
    DRAFT = "draft"
    SELF_CHECKED = "self-checked"
    CHECKED = "checked"
    WITHDRAWN = "withdrawn"


class Number(msgspec.Struct, frozen=True):
    """One number of a procedure: where it stands and how it is written."""

    path: Path
    text: str

    @property
    def place(self) -> str:
        """``entry[3].low``."""
        return show(self.path)


class Check(msgspec.Struct, frozen=True):
    """One check of all numbers: whose, when (RFC 3339), and the hash of the numbers as they were then."""

    numbers: str
    by: str
    on: str
    alone: bool


class TrustNote(msgspec.Struct, frozen=True):
    """What is known of one procedure's trust; it stands beside the file, not in it."""

    procedure: str
    checks: tuple[Check, ...] = ()
    withdrawn: str = ""


_PARTS = ("entry", "criteria", "identifier", "ways", "minutes")
_PRINTED = frozenset({"identifier", "value", "state", "part_number", "software_number"})
_NOT_FROM_A_PAGE = frozenset({"max_age_s", "every_s", "times", "settle_s"})


def numbers_of(loaded: LoadedProcedure) -> tuple[Number, ...]:
    """Every number and printed identifier that stands in the file and came from a page, in the order of the form."""
    plain = cast("dict[str, Any]", msgspec.to_builtins(loaded.procedure))
    found = (n for part in _PARTS for n in _walk(plain.get(part), (part,)))
    return tuple(number for number in found if loaded.quick or loaded.lines.has(number.path))


def from_page(loaded: LoadedProcedure) -> tuple[Number, ...]:
    """The numbers that a second person can look up: all but our own limits and those of common practice."""
    procedure = loaded.procedure
    ours = {f"entry[{n}]" for n, c in enumerate(procedure.entry, 1) if c.source.startswith(NO_PAGE)}
    for n, criterion in enumerate(procedure.criteria, 1):
        limits = getattr(criterion, "limits", None)
        if limits is not None and (limits.owner == "ours" or limits.source.startswith(NO_PAGE)):
            ours.add(f"criteria[{n}]")
    return tuple(n for n in numbers_of(loaded) if n.place.split(".")[0] not in ours)


def hash_of_numbers(loaded: LoadedProcedure) -> str:
    """SHA-256 over places and texts of all numbers, hex."""
    listed = [[n.place, n.text] for n in numbers_of(loaded)]
    return hashlib.sha256(json.dumps(listed, ensure_ascii=False).encode()).hexdigest()


def level_of(loaded: LoadedProcedure, note: TrustNote | None = None) -> Trust:
    """The level of a procedure as it stands now."""
    if note is not None and note.withdrawn:
        return Trust.WITHDRAWN
    if loaded.quick:
        return Trust.QUICK
    now = hash_of_numbers(loaded)
    fitting = [check for check in (note.checks if note else ()) if check.numbers == now]
    if any(not check.alone for check in fitting):
        return Trust.CHECKED
    return Trust.SELF_CHECKED if fitting else Trust.DRAFT


def retype(loaded: LoadedProcedure, typed: Mapping[str, str], by: str, on: str, hours_since_entry: float) -> Check:
    """Compare a second, unseen typing of every number with the first.

    Args: typed: place -> text as typed. by: who typed. on: RFC 3339.
        hours_since_entry: since the first typing, h; counts only for somebody who checks alone.
    Raises: InputError: check-failed, naming each place that differs or was left out, never the right value.
    """
    alone = may_check(loaded.procedure, by, hours_since_entry)
    wrong = [n.place for n in from_page(loaded) if not _same(n.text, typed.get(n.place, ""))]
    if wrong:
        raise InputError(Code.CHECK_FAILED, "look at the page again for " + ", ".join(wrong))
    return Check(hash_of_numbers(loaded), by.strip(), on, alone)


def may_check(procedure: Procedure, by: str, hours_since_entry: float) -> bool:
    """Whether somebody checks alone. Raises InputError: check-failed, no name, or too early for one alone."""
    if not by.strip():
        raise InputError(Code.CHECK_FAILED, "a check needs a name")
    alone = _person(by) == _person(procedure.source.entered_by)
    if alone and hours_since_entry < ALONE_AFTER_H:
        raise InputError(Code.CHECK_FAILED, f"the same person checks after {ALONE_AFTER_H:g} h at the earliest")
    return alone


def _person(name: str) -> str:
    """A name without case, spaces and dots: ``M. Okafor`` and ``m okafor`` are one person."""
    return "".join(c for c in name.casefold() if c.isalnum())


def may(level: Trust, way: Way, origin: Origin, *, acts: bool) -> Message | None:
    """Why a procedure of this level may not be carried out like that; None when it may.

    Args: acts: the way has a step that needs a receipt.
    """
    if level is Trust.WITHDRAWN:
        return say("trust.withdrawn", "withdrawn: it is not carried out any more")
    if way is not Way.BY_WIRE or not acts:
        return None
    if level is Trust.QUICK:
        return say("trust.quick", "a quick procedure sends nothing")
    if origin is Origin.VEHICLE and level is Trust.DRAFT:
        return say("trust.draft", "a draft acts on bench cars only: have its numbers checked against the page first")
    return None


def _walk(value: Any, path: Path) -> Iterator[Number]:
    if isinstance(value, dict):
        for key, item in cast("dict[str, Any]", value).items():
            if key not in _NOT_FROM_A_PAGE:
                yield from _walk(item, (*path, file_key(key)))
    elif isinstance(value, list | tuple):
        for n, item in enumerate(cast("list[Any]", value)):
            yield from _walk(item, (*path, n))
    elif isinstance(value, bool) or value is None:
        return
    elif isinstance(value, int | float):
        yield Number(path, f"{value:g}")
    elif isinstance(value, str) and value and str(path[-1]).replace("-", "_") in _PRINTED:
        yield Number(path, value)


def _same(first: str, second: str) -> bool:
    """Equal as numbers, or letter by letter when they are none."""
    try:
        return float(first) == float(second)
    except ValueError:
        return first == second.strip()
