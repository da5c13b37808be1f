"""Edits that keep what a person wrote around them: remarks, order, quotes. Through ruamel.yaml's round trip.

    set_field(text, "entry[3].low", "11.8", "throttle.yaml")     # the new text; nothing is written

The new text is read by the loader before it is given back, so an edit cannot leave a file that cannot be used.
"""

from __future__ import annotations

import io
import re
from collections.abc import Mapping
from typing import Any, cast

from asleft.model.errors import Code, InputError

from .loader import read_procedure
from .nodes import Unreadable, parse, read_text
from .remark import Path, show

_PART = re.compile(r"([a-z][a-z-]*)((?:\[[1-9]\d*\])*)")


def set_field(text: str, place: str, value: str, name: str) -> str:
    """The text with one value set, and the revision one higher unless it is the revision that is set.

    Args: place: as messages name it, counted from 1. value: as the file would have it, quotes included.
    Raises: InputError: procedure-bad, no such place, or no single value. ProcedureError: the result cannot be used.
    """
    read_procedure(text.encode(), name)
    changed = put_fields(text, {place: value})
    read_procedure(changed.encode(), name)
    return changed


def put_fields(text: str, changes: Mapping[str, str]) -> str:
    """The text with several values set, not read yet: as for a form that is being filled in. As ``set_field``.

    Raises: InputError: procedure-bad, no such place, or no single value.
    """
    yaml = _yaml()
    tree = yaml.load(text)
    for place, value in changes.items():
        _put(tree, path_of(place), _scalar(value), place)
    if "revision" not in changes and isinstance(tree.get("revision"), int):
        tree["revision"] += 1
    out = io.StringIO()
    yaml.dump(tree, out)
    return out.getvalue()


def single_values(text: str) -> dict[str, str | int | float | bool]:
    """Every single value of a file by its place, in the file's order."""
    found: dict[str, str | int | float | bool] = {}

    def walk(path: Path, value: Any) -> None:
        if isinstance(value, dict):
            for key, below in cast("dict[str, Any]", value).items():
                walk((*path, key), below)
        elif isinstance(value, list):
            for index, below in enumerate(cast("list[Any]", value)):
                walk((*path, index), below)
        elif isinstance(value, str | int | float | bool):
            found[show(path)] = value

    walk((), _yaml().load(text))
    return found


def path_of(place: str) -> Path:
    """``entry[3].low`` as keys and indices. Raises InputError: procedure-bad."""
    path: list[str | int] = []
    for part in place.split("."):
        found = _PART.fullmatch(part)
        if found is None:
            raise InputError(Code.PROCEDURE_BAD, f"{place!r} names no field; write it as messages do: entry[3].low")
        path += [found[1], *(int(index) - 1 for index in re.findall(r"\d+", found[2]))]
    return tuple(path)


def _scalar(value: str) -> Any:
    """One value, read by the same library so that it is written as it was typed."""
    try:
        parse(read_text(f"value: {value}\n".encode()))
    except Unreadable as bad:
        raise InputError(Code.PROCEDURE_BAD, f"{value!r} is no single value: {bad}") from None
    scalar = _yaml().load(f"value: {value}\n")["value"]
    if scalar is None or isinstance(scalar, (dict, list)):
        raise InputError(Code.PROCEDURE_BAD, f"{value!r} is no single value")
    return scalar


def _put(tree: Any, path: Path, scalar: Any, place: str) -> None:
    holder = tree
    for n, part in enumerate(path[:-1]):
        holder = _below(holder, part)
        if holder is None:
            raise InputError(Code.PROCEDURE_BAD, f"{show(path[: n + 1])} is not in the file; {place!r} cannot be set")
    last = path[-1]
    fits = isinstance(holder, dict) if isinstance(last, str) else _below(holder, last) is not None
    if not fits or isinstance(_below(holder, last), (dict, list)):
        raise InputError(Code.PROCEDURE_BAD, f"{place!r} is no single value of this file")
    holder[last] = scalar


def _below(holder: Any, part: str | int) -> Any:
    if isinstance(part, str):
        return cast("dict[str, Any]", holder).get(part) if isinstance(holder, dict) else None
    if not isinstance(holder, list):
        return None
    items = cast("list[Any]", holder)
    return items[part] if part < len(items) else None


def _yaml() -> Any:
    from ruamel.yaml import YAML  # noqa: PLC0415 - slow to import, and only edits need it

    yaml = cast("Any", YAML())
    yaml.preserve_quotes = True
    yaml.width = 1_000_000
    yaml.indent(mapping=2, sequence=4, offset=2)
    return yaml
