"""Personal data: in the chained bytes only a salted commitment, the value beside them, where it can be erased.

A text is personal when it is one of the job's personal values (VIN, customer, plate, odometer, the customer's words,
order number, who drove) or holds one, in letters or as hexadecimal bytes. A value without a digit, such as a name, is
searched for in texts of several words only: single words may be the program's own. A commitment is the SHA-256 of the
salt's characters and the text in UTF-8. Erasing salt and text leaves a number from which nobody can find the text
again, and a chain that still holds. Names of those who did the work and signed stay: they stand for it. Pure.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterable
from typing import Any, NamedTuple, cast

#: What a commitment begins with in place of a text.
PREFIX = "personal:"

#: Facts whose text is personal.
PERSONAL_FACTS = frozenset(
    {"customer", "plate", "odometer-in", "odometer-out", "complaint", "acknowledged", "road-driver", "road-observer"}
)

#: Of these facts the text is searched for everywhere else.
_NAMING_FACTS = frozenset({"customer", "plate"})

#: A shorter value is hidden where it stands, but not searched for in other texts: too much would look like it.
_SHORTEST = 5


class Withheld(NamedTuple):
    """A personal text and what commits to it.

    Attributes:
        commitment: SHA-256 of ``salt`` and ``value``, hexadecimal.
        salt: 32 hexadecimal digits.
        value: the text.
    """

    commitment: str
    salt: str
    value: str


def commitment_of(salt: str, value: str) -> str:
    """SHA-256 of the salt's characters and the text, in UTF-8, hexadecimal."""
    return hashlib.sha256((salt + value).encode("utf-8")).hexdigest()


class PersonalBook:
    """The personal values of one job, and what was committed to so far.

    Args:
        salts: gives a new salt, 32 hexadecimal digits that nobody can guess.
        known: what was committed to before.
    """

    def __init__(self, salts: Callable[[], str], known: Iterable[Withheld] = ()) -> None:
        self._salts = salts
        self._rows = {row.value: row for row in known}
        self._kept = set(self._rows)
        self._needles: set[str] = set()

    def learn(self, body: dict[str, Any]) -> None:
        """Take in the personal values that an event states."""
        if body.get("type") == "job-opened@1":
            self._look_for(str(body["vehicle"]["vin"]["text"]))
            self._look_for(str(body.get("order", "")))
        elif body.get("type") == "fact-stated@1" and body["fact"]["key"] in _NAMING_FACTS:
            self._look_for(str(body["fact"]["text"]))

    def hide(self, body: dict[str, Any]) -> tuple[dict[str, Any], tuple[Withheld, ...]]:
        """An event's body with commitments for personal texts, and those that are not kept yet (see ``keep``)."""
        self.learn(body)
        new: list[Withheld] = []
        hidden = cast("dict[str, Any]", self._hidden(body, new))
        if body.get("type") == "job-opened@1" and hidden.get("order"):
            hidden["order"] = self._whole(str(hidden["order"]), new)
        if body.get("type") == "fact-stated@1" and body["fact"]["key"] in PERSONAL_FACTS:
            fact = hidden["fact"]
            hidden["fact"] = {**fact, **{k: self._whole(str(fact[k]), new) for k in ("text", "source") if fact[k]}}
        return hidden, tuple(new)

    def keep(self, rows: Iterable[Withheld]) -> None:
        """These are kept durably now."""
        self._kept |= {row.value for row in rows}

    def _look_for(self, value: str) -> None:
        text = value.strip().upper()
        if len(text) >= _SHORTEST and not value.startswith(PREFIX):
            self._needles |= {text, text.encode("utf-8").hex().upper()}

    def _hidden(self, value: Any, new: list[Withheld]) -> Any:
        match value:
            case str():
                return self._whole(value, new) if self._names_somebody(value) else value
            case dict():
                return {key: self._hidden(part, new) for key, part in cast("dict[str, Any]", value).items()}
            case list() | tuple():
                parts = cast("list[Any]", value)
                if parts and isinstance(parts[0], int | float):
                    return parts
                return [self._hidden(part, new) for part in parts]
            case _:
                return value

    def _names_somebody(self, text: str) -> bool:
        upper = text.upper()
        several = " " in text
        return any(needle in upper and (several or not needle.isalpha()) for needle in self._needles)

    def _whole(self, text: str, new: list[Withheld]) -> str:
        if text.startswith(PREFIX):
            return text
        row = self._rows.get(text)
        if row is None:
            salt = self._salts()
            row = self._rows[text] = Withheld(commitment_of(salt, text), salt, text)
        if text not in self._kept and row not in new:
            new.append(row)
        return PREFIX + row.commitment
