"""An option's bits as a value and in words, and back. A value is an integer, or a text for digits and text."""

from __future__ import annotations

from typing import Literal

from asleft.model.errors import Code, InputError

from .layout import Option, OptionKind

Value = int | str
#: Characters of a text where the source names none.
PLAIN = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ"
_YES_NO = {0: "no", 1: "yes"}


def raw_of(option: Option, data: bytes) -> int:
    """Its bits as an unsigned number. Bytes beyond the end raise InputError (coding-refused)."""
    return (_whole(option, data) & option.mask) >> option.bit


def put_raw(option: Option, data: bytes, raw: int) -> bytes:
    """The bytes with its bits replaced; all other bits stay."""
    whole = _whole(option, data) & ~option.mask | raw << option.bit & option.mask
    end = option.at + option.length
    return data[: option.at] + whole.to_bytes(option.length, _order(option)) + data[end:]


def value_of(option: Option, raw: int) -> Value | None:
    """The value that these bits mean; None where the source gives them no meaning."""
    match option.kind:
        case OptionKind.FLAG:
            return raw if raw in (0, 1) else None
        case OptionKind.CHOICE:
            return raw if any(c.value == raw for c in option.choices) else None
        case OptionKind.NUMBER:
            return raw if _within(option, raw) else None
        case OptionKind.DIGITS:
            digits = f"{raw:0{option.width // 4}x}"
            return digits if digits.isdigit() else None
        case OptionKind.TEXT:
            text = raw.to_bytes(option.width // 8, "big").decode("ascii", "replace")
            return text if _letters_fit(option, text) else None


def raw_from(option: Option, value: Value) -> int:
    """The bits of a value. Raises InputError (coding-refused): the option cannot have it, with what it can have."""
    match option.kind:
        case OptionKind.DIGITS:
            fits = isinstance(value, str) and len(value) == option.width // 4 and value.isascii() and value.isdigit()
            raw = int(str(value), 16) if fits else -1
        case OptionKind.TEXT:
            fits = isinstance(value, str) and len(value) == option.width // 8 and _letters_fit(option, value)
            raw = int.from_bytes(str(value).encode("ascii"), "big") if fits else -1
        case _:
            raw = value if isinstance(value, int) else -1
    if raw < 0 or raw >> option.width or value_of(option, raw) is None:
        raise InputError(Code.CODING_REFUSED, f"{value!r} is not allowed: {allowed_text(option)}", option.id)
    return raw


def parse_value(option: Option, text: str) -> Value:
    """What a person typed, as a value: the words of a choice, its number, or the characters.

    Raises: InputError: coding-refused, with what is allowed.
    """
    typed = text.strip()
    if option.kind in (OptionKind.DIGITS, OptionKind.TEXT):
        value: Value = typed
    else:
        named = [v for v in _named(option).items() if v[1].casefold() == typed.casefold()]
        if named:
            value = named[0][0]
        elif typed.isascii() and typed.isdigit():
            value = int(typed)
        else:
            raise InputError(Code.CODING_REFUSED, f"{typed!r} is not allowed: {allowed_text(option)}", option.id)
    raw_from(option, value)
    return value


def words_of(option: Option, value: Value | None, raw: int = 0) -> str:
    """A value in words; bits without a meaning are shown as they are."""
    if value is None:
        return f"not in the source ({raw:0{(option.width + 3) // 4}X} hexadecimal)"
    if isinstance(value, str):
        return value
    if option.kind is OptionKind.NUMBER:
        return f"{value * option.factor + option.offset:.10g} {option.unit}".strip()
    return _named(option).get(value, str(value))


def allowed_text(option: Option) -> str:
    """What the option can have, in one line."""
    match option.kind:
        case OptionKind.NUMBER:
            low = option.low or 0
            high = (1 << option.width) - 1 if option.high is None else option.high
            return f"a whole number from {low} to {high}"
        case OptionKind.DIGITS:
            return f"{option.width // 4} decimal digits, leading zeros too"
        case OptionKind.TEXT:
            return f"{option.width // 8} characters of {option.letters or PLAIN}"
        case _:
            return ", ".join(_named(option).values())


def _named(option: Option) -> dict[int, str]:
    named = {c.value: c.text for c in option.choices}
    return named if named or option.kind is not OptionKind.FLAG else _YES_NO


def _within(option: Option, raw: int) -> bool:
    return (option.low is None or raw >= option.low) and (option.high is None or raw <= option.high)


def _letters_fit(option: Option, text: str) -> bool:
    return set(text) <= set(option.letters or PLAIN)


def _whole(option: Option, data: bytes) -> int:
    part = data[option.at : option.at + option.length]
    if len(part) < option.length:
        raise InputError(Code.CODING_REFUSED, f"{len(data)} bytes are too short for it", option.id)
    return int.from_bytes(part, _order(option))


def _order(option: Option) -> Literal["big", "little"]:
    return "big" if option.big_endian else "little"
