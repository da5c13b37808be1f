"""Codings for the command line, without a link: in words, two side by side, composed from answers."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from asleft.book.layouts import load_layout
from asleft.coding.compare import Comparison, compare
from asleft.coding.compose import compose
from asleft.coding.decode import Reading, decode
from asleft.coding.values import Value, parse_value
from asleft.model.errors import Code, InputError


def decode_coding(layout: Path, coding: str) -> Reading:
    """A coding, hex, in words. Raises InputError."""
    return decode(load_layout(layout), _bytes(coding))


def compare_codings(layout: Path, before: str, after: str) -> Comparison:
    """Two codings, hex. Raises InputError."""
    return compare(load_layout(layout), _bytes(before), _bytes(after))


def compose_coding(layout: Path, base: str, answers: Sequence[str]) -> tuple[str, Comparison]:
    """The coding, hex, for answers ``option=value``, and what it changes; unknown bits as in ``base``.

    Raises: InputError: coding-refused, with the rules named.
    """
    form, start = load_layout(layout), _bytes(base)
    wanted: dict[str, Value] = {}
    for answer in answers:
        name, _, text = answer.partition("=")
        option = form.option(name.strip())
        if option is None:
            raise InputError(Code.CODING_REFUSED, f"{name} is no option of it", form.id)
        wanted[option.id] = parse_value(option, text)
    data = compose(form, start, wanted)
    return data.hex().upper(), compare(form, start, data)


def _bytes(text: str) -> bytes:
    try:
        return bytes.fromhex(text)
    except ValueError:
        raise InputError(Code.CODING_REFUSED, f"{text!r} is no row of hexadecimal bytes") from None
