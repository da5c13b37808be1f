"""Every number of a procedure beside its printed form, its bytes, its source, who entered and who checked it. Pure."""

from __future__ import annotations

from typing import Any, cast

import msgspec

from asleft.model.errors import InputError

from .loader import LoadedProcedure
from .printed import any_bytes
from .procedure import Base, Procedure
from .remark import Path
from .trust import Number, TrustNote, hash_of_numbers, numbers_of


class NumberLine(msgspec.Struct, frozen=True):
    """One number.

    Attributes:
        place: as messages name it. value: as the file writes it, with its unit. printed: as the source prints it.
        sends: its bytes, hex; empty where none are sent. source: document and page.
        entered_by, checked_by: names; empty: nobody. Checked of another number than today's does not count.
    """

    place: str
    value: str
    printed: str
    sends: str
    source: str
    entered_by: str
    checked_by: str

    @property
    def text(self) -> str:
        """One line."""
        parts = [f"{self.place}: {self.value}"]
        parts += [f'printed "{self.printed}"'] if self.printed else []
        parts += [f"bytes {self.sends}"] if self.sends else []
        parts += [self.source, f"entered by {self.entered_by or 'nobody named'}"]
        return ", ".join((*parts, f"checked by {self.checked_by or 'nobody'}"))


def lines_of(loaded: LoadedProcedure, note: TrustNote | None = None) -> tuple[NumberLine, ...]:
    """All numbers in the order of the form. A check in the workshop outranks the name in the file."""
    plain = cast("dict[str, Any]", msgspec.to_builtins(loaded.procedure))
    now = hash_of_numbers(loaded)
    checks = [check for check in (note.checks if note else ()) if check.numbers == now]
    checked = "; ".join(f"{c.by}{' (alone, after a pause)' if c.alone else ''}" for c in checks)
    return tuple(_line(loaded.procedure, plain, number, checked) for number in numbers_of(loaded))


def prompt_of(procedure: Procedure, number: Number) -> str:
    """What to look up and type, without the number: what it is, its unit, where it stands."""
    around = _around(cast("dict[str, Any]", msgspec.to_builtins(procedure)), number.path)
    named = (str(holder[key]) for holder in around[:-1] for key in ("text", "name", "row", "id") if holder.get(key))
    what, unit = next(named, ""), _unit(around[0], number.path)
    about = ", ".join(part for part in (what, f"in {unit}" if unit else "") if part)
    page = around[0].get("source") or procedure.source_of(number.place).text
    return f"{number.place}{f' ({about})' if about else ''}, {page}"


def _line(procedure: Procedure, plain: dict[str, Any], number: Number, checked: str) -> NumberLine:
    holder = _around(plain, number.path)[0]
    source = procedure.source_of(number.place)
    printed, sends = str(holder.get("printed") or ""), ""
    if str(number.path[-1]) in {"identifier", "value", "state"} and not _is_number(number.text):
        base = _base(plain, number.path)
        printed, sends = number.text, _bytes(number.text, base) if base else ""
    value = f"{number.text} {_unit(holder, number.path)}".strip()
    where = str(holder.get("source") or "")
    said = f"{source.title}, {where}" if where and source.title and not where.startswith("common") else where
    return NumberLine(
        number.place, value, printed, sends, said or source.text, source.entered_by, checked or source.checked_by
    )


def _is_number(text: str) -> bool:
    return text.replace(".", "", 1).lstrip("-").isdigit() and not text.startswith("0")


def _unit(holder: dict[str, Any], path: Path) -> str:
    """Unit of a number: of its key, or of the limits it belongs to."""
    key = str(path[-1])
    if path[0] == "minutes":
        return "min"
    if key == "seconds" or key.endswith("-s"):
        return "s"
    unit = str(holder.get("unit") or "1") if key in {"low", "high", "leave-low", "leave-high", "offset"} else "1"
    return "" if unit == "1" else unit


def _base(plain: dict[str, Any], path: Path) -> Base | None:
    """The base said nearest around a printed text."""
    said = (holder["printed"] for holder in _around(plain, path) if holder.get("printed") in tuple(Base))
    return next((Base(base) for base in said), None)


def _bytes(text: str, base: Base) -> str:
    try:
        return any_bytes(text, base).hex(" ").upper()
    except InputError:
        return ""


def _around(plain: dict[str, Any], path: Path) -> list[dict[str, Any]]:
    """The maps around a number, the nearest first; the last is the whole."""
    value: object = plain
    found = [plain]
    for part in path[:-1]:
        if isinstance(part, int):
            value = cast("list[object]", value)[part]
        else:
            value = cast("dict[str, object]", value)[part.replace("-", "_")]
        if isinstance(value, dict):
            found.insert(0, cast("dict[str, Any]", value))
    return found
