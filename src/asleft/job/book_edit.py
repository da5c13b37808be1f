"""A procedure edited by form or as text: every single value with its words, and the lint before anything is kept.

Only the workshop's own files are edited; one of the program's is copied first, and the copy is used in the next job.
"""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Mapping
from pathlib import Path

import msgspec

from asleft.book.edit import put_fields, single_values
from asleft.book.files import ProcedureError
from asleft.book.lint import lint
from asleft.book.loader import LoadedProcedure, read_procedure
from asleft.book.numbers import prompt_of
from asleft.book.remark import Level, Remark
from asleft.book.trust import from_page, hash_of_numbers
from asleft.model.errors import AsleftError, Code, InputError

from .book_read import book_path, own_folder

#: Longest text of a procedure, characters: far above any that there is.
LONGEST = 40_000
#: Last part of a place -> what it is called beside its words.
_ENDS = {
    "low": "at least",
    "high": "at most",
    "hold-s": "held for",
    "leave-low": "left below",
    "leave-high": "left above",
    "debounce-s": "lost only after",
    "timeout-s": "waited for at most",
    "seconds": "recorded for",
    "printed": "as printed",
    "part-number": "part number",
    "software-number": "software number",
}


class Field(msgspec.Struct, frozen=True):
    """One value of the form.

    Attributes: place: as messages name it. words: what it is called. value: as typed. long: it is a sentence.
    """

    place: str
    words: str
    value: str
    long: bool


class Form(msgspec.Struct, frozen=True):
    """A file as a form: values by part of the file, its text, and its digest, still the same when an edit is kept."""

    parts: dict[str, tuple[Field, ...]]
    text: str
    digest: str


class Draft(msgspec.Struct, frozen=True):
    """What an edit would be.

    Attributes:
        text: of the file. remarks: of loader and lint, errors first. usable: it may be kept.
        changed: places that differ. numbers: a number differs, so that a check is lost.
    """

    text: str
    remarks: tuple[Remark, ...]
    usable: bool
    changed: tuple[str, ...]
    numbers: bool


def form_of(name: str) -> Form:
    """A file as a form. Raises InputError: procedure-missing, procedure-bad (not an own file)."""
    loaded = _own(name)
    prompts = {number.place: prompt_of(loaded.procedure, number) for number in from_page(loaded)}
    parts: dict[str, list[Field]] = {}
    for place, value in single_values(loaded.text).items():
        words = _words(place, prompts.get(place, ""))
        shown = _shown(value)
        parts.setdefault(re.split(r"[.\[]", place)[0], []).append(Field(place, words, shown, len(shown) > 60))
    return Form({part: tuple(fields) for part, fields in parts.items()}, loaded.text, loaded.digest)


def draft(name: str, typed: Mapping[str, str], text: str = "") -> Draft:
    """What a form, or a text, would become; nothing is written.

    Args: typed: values by place; those that are as in the file change nothing. text: the whole file instead.
    Raises: InputError: procedure-missing, procedure-bad (not an own file, or too long).
    """
    before = _own(name)
    if len(text) > LONGEST:
        raise InputError(Code.PROCEDURE_BAD, f"a procedure has at most {LONGEST} characters")
    known = single_values(before.text)
    changes = {p: v for p, v in typed.items() if p in known and v != _shown(known[p])}
    try:
        new = (
            text.replace("\r\n", "\n") if text else put_fields(before.text, _written(changes, known)) if changes else ""
        )
        new = new or before.text
        after = read_procedure(new.encode(), book_path(name).name)
    except ProcedureError as bad:
        return Draft(text or before.text, bad.remarks, False, tuple(changes), True)
    except AsleftError as error:
        remark = Remark(Level.ERROR, "value", book_path(name).name, 0, before.procedure.id, "", error.detail, "a value")
        return Draft(text or before.text, (remark,), False, tuple(changes), True)
    changed = tuple(changes) or (("text",) if new != before.text else ())
    return Draft(new, _remarks(before, after), True, changed, hash_of_numbers(before) != hash_of_numbers(after))


def keep(name: str, typed: Mapping[str, str], text: str, digest: str) -> Draft:
    """Write an edit that may be kept, whole or not at all.

    Args: digest: of the file as the form showed it.
    Raises: InputError: procedure-bad: it may not be kept, nothing differs, or the file is another one by now.
    """
    path, made = book_path(name), draft(name, typed, text)
    if hashlib.sha256(path.read_bytes()).hexdigest() != digest:
        raise InputError(Code.PROCEDURE_BAD, "the file was changed meanwhile; look at it again, then change it")
    if not made.usable:
        raise InputError(Code.PROCEDURE_BAD, "; ".join(r.rest for r in made.remarks if r.level is Level.ERROR))
    if not made.changed:
        raise InputError(Code.PROCEDURE_BAD, "nothing was changed")
    beside = path.with_name(f".{path.name}.new")
    beside.write_text(made.text, encoding="utf-8")
    beside.replace(path)
    return made


def copy_own(name: str) -> Path:
    """Copy a procedure of the program's book into the workshop's own, where it may be edited.

    Raises: InputError: procedure-missing, procedure-bad (it is an own one already).
    """
    path = book_path(name)
    if path.parent == own_folder():
        raise InputError(Code.PROCEDURE_BAD, "this is one of the workshop's own already")
    own_folder().mkdir(parents=True, exist_ok=True)
    target = own_folder() / path.name
    with target.open("xb") as file:
        file.write(path.read_bytes())
    return target


def _own(name: str) -> LoadedProcedure:
    path = book_path(name)
    if path.parent != own_folder():
        raise InputError(Code.PROCEDURE_BAD, "this is the program's own book; copy it into your own first")
    return read_procedure(path.read_bytes(), path.name)


def _remarks(before: LoadedProcedure, after: LoadedProcedure) -> tuple[Remark, ...]:
    found = lint(after)
    if before.procedure.id == after.procedure.id:
        return found
    why = f"the id was {before.procedure.id}: jobs and checks know it by that name"
    moved = Remark(Level.WARNING, "id", "", 1, after.procedure.id, "id", why, "leave it")
    return (moved, *found)


def _written(changes: Mapping[str, str], known: Mapping[str, str | int | float | bool]) -> dict[str, str]:
    """As a file has it: texts in quotes, whatever they look like."""
    return {p: json.dumps(v, ensure_ascii=False) if isinstance(known[p], str) else v for p, v in changes.items()}


def _shown(value: str | int | float | bool) -> str:
    return value.strip() if isinstance(value, str) else json.dumps(value)


def _words(place: str, prompt: str) -> str:
    """What a value is called: by what it belongs to and its unit, where it has any, and its end in words."""
    end = re.sub(r"\[\d+\]$", "", place.rpartition(".")[2])
    named = _ENDS.get(end, end.replace("-", " "))
    about = prompt.removeprefix(place).partition("), ")[0].lstrip(" (") if prompt.startswith(f"{place} (") else ""
    return f"{about}: {named}" if about else named
