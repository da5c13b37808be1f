"""Short codes in groups, such as ``K-27-08``: each group has a meaning; a scheme that is not unambiguous is refused."""

from __future__ import annotations

from enum import StrEnum, unique
from typing import Annotated

import msgspec

from asleft.model.errors import Code, InputError

_ALPHABET = "0ABCDEFGHIJKLMNOPQRSTUVWXYZ"


@unique
class GroupKind(StrEnum):
    """``row``: one of a table, by its characters. ``sum``: decimal sum of options. ``check``: weighted remainder."""

    ROW = "row"
    SUM = "sum"
    CHECK = "check"


class Row(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """One row of a table: characters as printed; or one option of a sum: its weight in digits."""

    code: str
    text: str


class Group(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """One group of ``length`` characters.

    Attributes: weights, modulus: of a check: weighted sum of the groups before (letters by place in the alphabet).
    """

    name: str
    kind: GroupKind
    length: Annotated[int, msgspec.Meta(ge=1, le=12)]
    rows: tuple[Row, ...] = ()
    weights: tuple[int, ...] = ()
    modulus: int = 0


class Scheme(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """Groups in order, with ``separator`` between them."""

    groups: tuple[Group, ...]
    separator: str = "-"


def must_be_unambiguous(scheme: Scheme) -> None:
    """Raises InputError (coding-refused): the same code can mean two things, with both of them named."""
    for group in scheme.groups:
        if group.kind is GroupKind.ROW:
            _rows(group)
        elif group.kind is GroupKind.SUM:
            _sums(group)
        elif group.modulus < 2 or len(str(group.modulus - 1)) > group.length:
            raise InputError(Code.CODING_REFUSED, f"modulus {group.modulus} in {group.length} digits", group.name)


def meanings(scheme: Scheme, text: str) -> tuple[str, ...]:
    """Each group in words; leading zeros count.

    Raises: InputError: coding-refused: ambiguous, another form, not in the table, the check does not fit.
    """
    must_be_unambiguous(scheme)
    parts = text.split(scheme.separator)
    if [len(p) for p in parts] != [g.length for g in scheme.groups]:
        wanted = scheme.separator.join("x" * g.length for g in scheme.groups)
        raise InputError(Code.CODING_REFUSED, f"{text} has not the form {wanted}; leading zeros count")
    return tuple(
        f"{g.name}: {_meaning(g, part, parts[:n])}"
        for n, (g, part) in enumerate(zip(scheme.groups, parts, strict=True))
    )


def check_digits(group: Group, before: list[str]) -> str:
    """Digits of a check group over the groups before it."""
    values = (w * _number(part) for w, part in zip(group.weights, before, strict=True))
    return f"{sum(values) % group.modulus:0{group.length}d}"


def _meaning(group: Group, part: str, before: list[str]) -> str:
    match group.kind:
        case GroupKind.ROW:
            row = next((r for r in group.rows if r.code == part), None)
            if row is None:
                raise InputError(Code.CODING_REFUSED, f"{part} is not in the table", group.name)
            return row.text
        case GroupKind.SUM:
            if not (part.isascii() and part.isdigit()):
                raise InputError(Code.CODING_REFUSED, f"{part} holds more than digits", group.name)
            found = _sums(group).get(int(part))
            if found is None:
                raise InputError(Code.CODING_REFUSED, f"{part} is no sum of its options", group.name)
            return ", ".join(found) or "none"
        case GroupKind.CHECK:
            right = check_digits(group, before)
            if right != part:
                raise InputError(Code.CODING_REFUSED, f"the check is {right}, not {part}", group.name)
            return "fits"


def _rows(group: Group) -> None:
    seen: dict[str, str] = {}
    for row in group.rows:
        if row.code in seen:
            why = f'{row.code} means "{seen[row.code]}" and "{row.text}"'
            raise InputError(Code.CODING_REFUSED, why, group.name)
        if len(row.code) != group.length:
            raise InputError(Code.CODING_REFUSED, f"{row.code} has not {group.length} characters", group.name)
        seen[row.code] = row.text


def _sums(group: Group) -> dict[int, tuple[str, ...]]:
    """Every sum and its options. Raises InputError: two sets of options give the same, or a sum does not fit."""
    sums: dict[int, tuple[str, ...]] = {0: ()}
    for row in group.rows:
        for total, texts in tuple(sums.items()):
            new = total + int(row.code)
            if new in sums:
                one, two = " + ".join(sums[new]) or "none", " + ".join((*texts, row.text))
                raise InputError(Code.CODING_REFUSED, f'{new} means "{one}" and "{two}"', group.name)
            sums[new] = (*texts, row.text)
    if len(str(max(sums))) > group.length:
        raise InputError(Code.CODING_REFUSED, f"{max(sums)} does not fit into {group.length} digits", group.name)
    return sums


def _number(part: str) -> int:
    return int(part) if part.isascii() and part.isdigit() else sum(_ALPHABET.find(c) for c in part)
