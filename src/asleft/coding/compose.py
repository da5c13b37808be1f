"""Answers to bytes: options replaced, unknown bits kept, checksums made right, impossible combinations refused."""

from __future__ import annotations

from collections.abc import Mapping

from asleft.model.errors import Code, InputError

from . import checksum
from .decode import broken_rules, must_be_long
from .layout import Layout
from .values import Value, put_raw, raw_from, raw_of, value_of


def compose(layout: Layout, base: bytes, wanted: Mapping[str, Value]) -> bytes:
    """A coding with these options, everything else as in ``base``.

    Raises: InputError: coding-refused, with every rule it breaks; an unknown option; a value it cannot have; bits in
        an option not named here that the source does not explain.
    """
    must_be_long(layout, base)
    data = base
    for name, value in wanted.items():
        option = layout.option(name)
        if option is None:
            raise InputError(Code.CODING_REFUSED, f"{name} is no option of it", layout.id)
        data = put_raw(option, data, raw_from(option, value))
    for option in layout.options:
        if value_of(option, raw_of(option, data)) is None:
            why = f"{option.name}: its bits have no meaning in the source; name its value"
            raise InputError(Code.CODING_REFUSED, why, option.id)
    broken = broken_rules(layout, data)
    if broken:
        raise InputError(Code.CODING_REFUSED, "; ".join(f"rule {r.id}: {r.text}" for r in broken), layout.id)
    for check in layout.checks:
        data = checksum.put(check, data)
    return data


def base_for(layout: Layout, fitted: bytes, received: bytes | None) -> bytes:
    """The coding whose unknown bits are kept: the one as received where the fitted module is blank, else the fitted.

    Raises: InputError: coding-refused, a length differs.
    """
    must_be_long(layout, fitted)
    if received is None or not layout.is_blank(fitted):
        return fitted
    must_be_long(layout, received)
    return fitted if layout.is_blank(received) else received


def transfer(layout: Layout, failed: bytes, replacement: tuple[str, str]) -> bytes:
    """The failed module's coding for its replacement: same bytes, only if the layout is for the replacement too.

    Args: replacement: its part and software number.
    Raises: InputError: coding-refused: other numbers, a blank or broken coding.
    """
    if not layout.is_for(*replacement):
        why = f"the replacement is {' '.join(replacement)}; the layout is not for it"
        raise InputError(Code.CODING_REFUSED, why, layout.id)
    must_be_long(layout, failed)
    if layout.is_blank(failed):
        raise InputError(Code.CODING_REFUSED, "the failed module's coding is blank", layout.id)
    if any(checksum.compute(c, failed) != checksum.stored(c, failed) for c in layout.checks):
        raise InputError(Code.CODING_REFUSED, "the failed module's coding does not fit its own checksum", layout.id)
    return compose(layout, failed, {})
