"""Codes printed on parts, such as injectors: alphabet, length, check, confusable characters, cylinder order."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import msgspec

from asleft.model.errors import Code, InputError

#: Characters that are taken for one another. Source: common practice, no source.
CONFUSABLE = ("0OQ", "1IL", "2Z", "5S", "8B", "UV")


class CodeForm(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """How a part's code is built.

    Attributes:
        length: characters. letters: its alphabet, in the order of their values.
        weights, modulus: the last character has the value of the weighted sum of those before, modulo; 0: no check.
    """

    length: int
    letters: str
    weights: tuple[int, ...] = ()
    modulus: int = 0


def must_fit(form: CodeForm, text: str) -> None:
    """Raises InputError (coding-refused): length, a character outside the alphabet, or the check."""
    if len(text) != form.length:
        raise InputError(Code.CODING_REFUSED, f"{len(text)} characters; the code has {form.length}")
    for place, letter in enumerate(text, 1):
        if letter not in form.letters:
            perhaps = [c for c in look_alikes(letter) if c in form.letters]
            hint = f"; perhaps {' or '.join(perhaps)}" if perhaps else ""
            raise InputError(Code.CODING_REFUSED, f"{letter} at place {place} does not occur in this code{hint}")
    if form.modulus and check_letter(form, text[:-1]) != text[-1]:
        raise InputError(Code.CODING_REFUSED, "the check character does not fit; compare each with the part")


def check_letter(form: CodeForm, body: str) -> str:
    """Check character of the characters before it."""
    values = (form.letters.index(c) * w for c, w in zip(body, form.weights, strict=True))
    return form.letters[sum(values) % form.modulus]


def look_alikes(letter: str) -> tuple[str, ...]:
    """Other characters that this one is taken for."""
    return tuple(c for group in CONFUSABLE if letter in group for c in group if c != letter)


def differs(first: str, second: str) -> str:
    """How two typings differ, in words; empty when they do not: one character, two swapped, a look-alike, length."""
    if first == second:
        return ""
    if len(first) != len(second):
        return f"{len(first)} and {len(second)} characters"
    places = [n for n, (a, b) in enumerate(zip(first, second, strict=True)) if a != b]
    a, b = places[0], places[-1]
    if len(places) == 2 and b == a + 1 and first[a] == second[b] and first[b] == second[a]:
        return f"places {a + 1} and {b + 1} are swapped"
    likely = first[a] in look_alikes(second[a])
    hint = " (they look alike)" if likely else ""
    return f"place {a + 1}: {first[a]} and {second[a]}{hint}" + (f", {len(places)} places" if len(places) > 1 else "")


def by_cylinder(codes: Mapping[int, str], cylinders: int, firing_order: Sequence[int] = ()) -> tuple[str, ...]:
    """Codes in the order a module takes them: cylinder 1, 2, 3 …, or the firing order where its source says so.

    Raises: InputError: coding-refused: a cylinder without a code or too many, one code on two cylinders, a firing order
        that is none.
    """
    wanted = list(range(1, cylinders + 1))
    if sorted(codes) != wanted:
        raise InputError(Code.CODING_REFUSED, f"cylinders {sorted(codes)}; one code each for {wanted}")
    seen: dict[str, int] = {}
    for cylinder in wanted:
        if codes[cylinder] in seen:
            why = f"cylinders {seen[codes[cylinder]]} and {cylinder} have the same code; look at both parts again"
            raise InputError(Code.CODING_REFUSED, why)
        seen[codes[cylinder]] = cylinder
    if firing_order and sorted(firing_order) != wanted:
        raise InputError(Code.CODING_REFUSED, f"{list(firing_order)} is no firing order of {cylinders} cylinders")
    return tuple(codes[c] for c in (firing_order or wanted))
