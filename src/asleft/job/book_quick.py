"""The quick procedure from a form: valid at once, for work beside a tester; it sends nothing."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping, Sequence

import msgspec

from asleft.book.files import ProcedureError
from asleft.book.functions import FUNCTIONS, hard_stop
from asleft.book.loader import LoadedProcedure, read_procedure
from asleft.model.errors import Code, InputError

from .book_read import own_folder

#: Field of the form -> longest text, characters.
FIELDS = {
    "function": 80,
    "title": 200,
    "edition": 80,
    "page": 80,
    "entry": 2000,
    "action": 2000,
    "result": 2000,
    "limits": 2000,
    "initials": 40,
    "make": 60,
    "model": 60,
    "first": 4,
    "last": 4,
}


class QuickRead(msgspec.Struct, frozen=True):
    """A quick procedure as it was understood: measured conditions and limits, and those that stay words."""

    id: str
    measured: tuple[str, ...]
    declared: tuple[str, ...]
    judged: tuple[str, ...]
    in_words: str
    fits_cars: bool


def functions() -> tuple[tuple[str, str], ...]:
    """Slug and words of every function that may be done beside a tester, by words."""
    return tuple(sorted(((f.slug, f.name) for f in FUNCTIONS.values()), key=lambda pair: pair[1]))


def quick_text(form: Mapping[str, str]) -> str:
    """The form as a procedure file. Raises InputError: procedure-bad, a field is missing or too long."""
    given = {name: _plain(form.get(name, ""), longest, name) for name, longest in FIELDS.items()}
    for name in ("function", "page", "action", "result", "initials"):
        if not given[name]:
            raise InputError(Code.PROCEDURE_BAD, f"{name} is missing")
    if given["function"] not in FUNCTIONS:
        raise InputError(Code.PROCEDURE_BAD, f"no function {given['function']!r}")
    lines = [f"id: {_id(given)}", f"quick: {given['function']}"]
    source = {"title": given["title"], "edition": given["edition"], "page": given["page"]}
    lines += ["source:", *(f"  {key}: {_quoted(value)}" for key, value in source.items() if value)]
    lines += _list("entry", _split(given["entry"])) or ["entry: []"]
    lines += [f"action: {_quoted(given['action'])}", f"result: {_quoted(given['result'])}"]
    lines += _list("limits", _split(given["limits"]))
    lines += ["by:", f"  initials: {_quoted(given['initials'])}", *_applies(given)]
    return "\n".join(lines) + "\n"


def understood(form: Mapping[str, str]) -> QuickRead:
    """How a form is read, without keeping it. Raises InputError; ProcedureError: procedure-bad, with every error."""
    return _told(_read(quick_text(form)))


def keep_quick(form: Mapping[str, str]) -> QuickRead:
    """Keep a quick procedure among the workshop's own. Raises as ``understood``; never writes over a file."""
    text = quick_text(form)
    loaded = _read(text)
    folder = own_folder()
    folder.mkdir(parents=True, exist_ok=True)
    with (folder / f"{loaded.procedure.id}.yaml").open("x", encoding="utf-8") as file:
        file.write(text)
    return _told(loaded)


def _read(text: str) -> LoadedProcedure:
    try:
        return read_procedure(text.encode(), "quick.yaml")
    except ProcedureError as bad:
        said = "; ".join(f"{r.field}: {r.why}; instead: {r.instead}" for r in bad.remarks)
        raise InputError(Code.PROCEDURE_BAD, said) from bad


def _told(loaded: LoadedProcedure) -> QuickRead:
    procedure = loaded.procedure
    return QuickRead(
        procedure.id,
        tuple(c.text for c in procedure.entry if c.signal),
        tuple(c.text for c in procedure.entry if not c.signal),
        tuple(c.name for c in procedure.criteria),
        procedure.proof_in_words,
        bool(procedure.applies.make),
    )


def warns(function: str) -> str:
    """Why the tool sends nothing for this function, whatever a file says; empty: no such stop."""
    stop = hard_stop(function, "engine")
    return stop.value if stop else ""


def _id(given: Mapping[str, str]) -> str:
    """A name that no own file has yet."""
    initials = re.sub(r"[^a-z0-9]+", "-", given["initials"].lower()).strip("-") or "x"
    base = f"quick-{given['function']}-{initials}"[:70].strip("-")
    taken = {path.stem for path in own_folder().glob("*.yaml")} if own_folder().is_dir() else set[str]()
    return next(name for n in range(1, 1000) if (name := base if n == 1 else f"{base}-{n}") not in taken)


def _plain(text: str, longest: int, name: str) -> str:
    kept = "\n".join(" ".join("".join(c for c in line if c.isprintable()).split()) for line in text.splitlines())
    if len(kept) > longest:
        raise InputError(Code.PROCEDURE_BAD, f"{name}: at most {longest} characters")
    return kept.strip()


def _split(text: str) -> list[str]:
    return [part.strip() for part in text.splitlines() if part.strip()]


def _list(key: str, items: Sequence[str]) -> list[str]:
    return [f"{key}:", *(f"  - {_quoted(item)}" for item in items)] if items else []


def _applies(given: Mapping[str, str]) -> list[str]:
    lines = [f"  {key}: {_quoted(given[key])}" for key in ("make", "model") if given[key]]
    if given["first"] or given["last"]:
        years = [given["first"] or given["last"], given["last"] or given["first"]]
        if not all(len(y) == 4 and y.isascii() and y.isdigit() for y in years):
            raise InputError(Code.PROCEDURE_BAD, "a model year has four digits")
        lines.append(f"  years: [{years[0]}, {years[1]}]")
    return ["applies:", *lines] if lines else []


def _quoted(text: str) -> str:
    return json.dumps(" ".join(text.split()), ensure_ascii=False)
