"""What a job is found by: kinds of terms, and how a text becomes one, the same when stored and when asked. Pure."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable

from asleft.record.personal import PREFIX

#: Kind of a term -> what a person calls it.
KINDS = {
    "vin": "VIN, whole or its last eight characters",
    "plate": "plate",
    "order": "order",
    "number": "job number",
    "module": "number of a control module: part, software, hardware, serial, calibration",
    "code": "trouble code",
    "procedure": "procedure or function",
    "person": "person",
    "word": "a word of what was done, asked, seen or said",
}
_EXACT = frozenset({"vin", "plate", "order", "number", "module", "code"})
_WORD = re.compile(r"[^\W_]+")
#: Longer words are cut: nobody types them.
_LONGEST = 60


def folded(text: str) -> str:
    """A text without case, marks and doubled blanks; an erased personal text is empty."""
    if text.startswith(PREFIX):
        return ""
    plain = unicodedata.normalize("NFKD", text.casefold())
    kept = "".join(c for c in plain if not unicodedata.combining(c) and c.isprintable())
    return " ".join(kept.split())


def value_of(kind: str, text: str) -> str:
    """A term of a kind as it is kept; numbers lose all but letters and digits. Empty: there is none."""
    plain = folded(text)
    if kind in _EXACT:
        plain = "".join(c for c in plain if c.isalnum())
    return plain[: 4 * _LONGEST]


def words_of(texts: Iterable[str]) -> set[str]:
    """The words of texts; of one letter only digits count."""
    found = (word for text in texts for word in _WORD.findall(folded(text)))
    return {word[:_LONGEST] for word in found if len(word) > 1 or word.isdigit()}
