"""Text of a record made fit to print: nothing hidden, nothing that can run out of its column. Pure.

The typesetter gets every text as data, so no sign in it is markup. What remains are signs that cannot be seen (control
and direction signs, which could make a text read as another) and words too long for a column. Signs without a glyph
in the fonts at hand are shown by their number; the record keeps them as they are.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable, Set
from typing import cast

_LONG = re.compile(r"[^\s\-–]{25,}")
_HASH = re.compile(r"[0-9a-f]{64}")
_PIECE = 6
#: Zero-width space: a place where a line may break; it prints nothing.
BREAK = "\u200b"
_KEPT = frozenset("\n")
_HIDDEN = frozenset({"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"})


def by_number(character: str) -> str:
    """A sign shown by its number, ``[U+202E]``."""
    return f"[U+{ord(character):04X}]"


def visible(text: str, missing: Set[str] = frozenset()) -> str:
    """The text in composed form, every unseen or unprintable sign shown by its number.

    Args: missing: signs that the fonts cannot draw.
    """
    composed = unicodedata.normalize("NFC", text)
    return "".join(_sign(c, missing) for c in composed)


def breakable(text: str) -> str:
    """The same text with places to break a line in words of 25 signs and more; a hash and a drawing stay whole."""
    if _HASH.fullmatch(text) or text.startswith("<svg"):
        return text
    return _LONG.sub(lambda m: BREAK.join(m[0][i : i + _PIECE] for i in range(0, len(m[0]), _PIECE)), text)


def shortened(text: str, most: int) -> str:
    """At most ``most`` signs, cut ones ending in an ellipsis: only for page 1, the details hold the whole."""
    return text if len(text) <= most else text[: most - 1].rstrip() + "…"


def everywhere(value: object, change: Callable[[str], str]) -> object:
    """The same lists and mappings with every text changed; keys stay."""
    if isinstance(value, str):
        return change(value)
    if isinstance(value, dict):
        return {k: everywhere(v, change) for k, v in cast("dict[str, object]", value).items()}
    if isinstance(value, list | tuple):
        return [everywhere(v, change) for v in cast("list[object]", value)]
    return value


def _sign(character: str, missing: Set[str]) -> str:
    if character in _KEPT:
        return character
    if character == "\t" or unicodedata.category(character) == "Zs":
        return " "
    if character in missing or unicodedata.category(character) in _HIDDEN:
        return by_number(character)
    return character
