"""Bytes as a source prints them: identifiers and values in a said base and form, refused when impossible.

Sources print the same two bytes in many ways, and the wrong base is a wrong routine. So the form is said, never
guessed::

    >>> two_bytes("5A31h", Base.HEX)
    23089
    >>> any_bytes("01 0A", Base.HEX_BYTES)
    b'\\x01\\n'
"""

from __future__ import annotations

import re
from typing import assert_never

from asleft.model.errors import Code, InputError
from asleft.model.step_more import Base

#: One example a form, for messages and screens.
EXAMPLES: dict[Base, str] = {
    Base.HEX: "5A31, 0x5A31, 5A31h, $5A31 or 5A 31",
    Base.HEX_BYTES: "5A-31, 5A 31 or 0x5A 0x31",
    Base.DECIMAL: "23089",
    Base.DECIMAL_BYTES: "90-49 or 90 49",
}

_HEX_MARKS = re.compile(r"^(?:(?:0[xX]|\$)(?P<marked>[0-9A-Fa-f]+)|(?P<bare>[0-9A-Fa-f]+)[hH]?)$")
_PAIR = re.compile(r"^(\S+?)(?:\s*[-/.,]\s*|\s+)(\S+)$")
_BETWEEN = re.compile(r"\s*[-/.,]\s*|\s+")


def tidy(typed: str, form: Base) -> str:
    """Typed text with single spaces. Raises InputError: nothing was typed, or a character that is no ASCII."""
    text = " ".join(typed.split())
    if not text:
        raise impossible("", form, "nothing was typed")
    if not text.isascii():
        odd = next(c for c in text if not c.isascii())
        raise impossible(text, form, f"{odd!r} is no digit, though it may look like one")
    return text


def two_bytes(typed: str, form: Base) -> int:
    """A two-byte identifier. Raises InputError: identifier-impossible, with why."""
    text = tidy(typed, form)
    match form:
        case Base.HEX:
            return _hex_word(text, form)
        case Base.DECIMAL:
            return _decimal(text, form, 65535, text)
        case Base.HEX_BYTES:
            high, low = _pair(text, form)
            return (_hex_byte(high, form, text) << 8) | _hex_byte(low, form, text)
        case Base.DECIMAL_BYTES:
            high, low = _pair(text, form)
            return (_decimal(high, form, 255, text) << 8) | _decimal(low, form, 255, text)
        case _:
            assert_never(form)


def any_bytes(typed: str, form: Base) -> bytes:
    """Bytes of any number. A decimal number without separators is one or two bytes wide, as small as it fits.

    Raises: InputError: identifier-impossible, with why.
    """
    text = tidy(typed, form)
    match form:
        case Base.HEX:
            found = _HEX_MARKS.match(text.replace(" ", ""))
            digits = (found["marked"] or found["bare"]) if found else ""
            if not digits or len(digits) % 2:
                raise impossible(text, form, _not_hex(text) if not digits else "an odd number of digits")
            return bytes.fromhex(digits)
        case Base.DECIMAL:
            value = _decimal(text, form, 65535, text)
            return value.to_bytes(2 if value > 255 else 1, "big")
        case Base.HEX_BYTES:
            return bytes(_hex_byte(part, form, text) for part in _BETWEEN.split(text))
        case Base.DECIMAL_BYTES:
            return bytes(_decimal(part, form, 255, text) for part in _BETWEEN.split(text))
        case _:
            assert_never(form)


def _hex_word(text: str, form: Base) -> int:
    found = _HEX_MARKS.match(text.replace(" ", ""))
    if found is None:
        raise impossible(text, form, _not_hex(text))
    digits = found["marked"] or found["bare"]
    if len(digits) != 4:
        raise impossible(text, form, f"{len(digits)} digits; two bytes are four")
    return int(digits, 16)


def _not_hex(text: str) -> str:
    wrong = [c for c in text if c not in "0123456789abcdefABCDEFxXhH$ "]
    if wrong and wrong[0] in "OoIilL":
        return f"the letter {wrong[0]} is no hexadecimal digit; perhaps {'0' if wrong[0] in 'Oo' else '1'}"
    if wrong:
        return f"{wrong[0]!r} is no hexadecimal digit"
    return "the marks 0x, $ or h stand in the wrong place"


def _hex_byte(text: str, form: Base, whole: str) -> int:
    found = _HEX_MARKS.match(text)
    if found is None:
        raise impossible(whole, form, _not_hex(text))
    digits = found["marked"] or found["bare"]
    if len(digits) != 2:
        raise impossible(whole, form, f"{text} is not two digits")
    return int(digits, 16)


def _decimal(text: str, form: Base, most: int, whole: str) -> int:
    if not (text.isascii() and text.isdigit()):
        why = f"{text} holds more than the digits 0 to 9"
        if _HEX_MARKS.match(text):
            why += "; if the page prints it in hexadecimal, say so first"
        raise impossible(whole, form, why)
    if len(text) > len(str(most)):
        raise impossible(whole, form, f"{text} has more digits than {most}")
    value = int(text)
    if value > most:
        raise impossible(whole, form, f"{value} is more than {most}")
    return value


def _pair(text: str, form: Base) -> tuple[str, str]:
    found = _PAIR.match(text)
    if found is None:
        raise impossible(text, form, "two bytes are expected, with a hyphen or a space between them")
    return found[1], found[2]


def impossible(text: str, form: Base, why: str) -> InputError:
    """The error for a text that cannot be in that form."""
    shown = f'"{text}" as {form.value.replace("-", " ")}: {why}; for example {EXAMPLES[form]}'
    return InputError(Code.IDENTIFIER_IMPOSSIBLE, shown)
