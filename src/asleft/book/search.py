"""Finding procedures by words: every hit with how well it fits and why, the car's exact matches before all others.

A word counts more the fewer procedures hold it; a beginning of a word counts half. Pure.
"""

from __future__ import annotations

import math
import re
from bisect import bisect_left
from collections.abc import Iterable, Iterator, Sequence
from functools import cached_property
from itertools import islice
from typing import Generic, Protocol, TypeVar

import msgspec
import numpy as np
from numpy.typing import NDArray

from asleft.model.message import Message, say
from asleft.model.work import Vehicle

from .columns import Columns
from .fit import CarFacts, differs
from .procedure import Applies

#: Word -> places of the procedures that hold it, as 32-bit numbers.
Postings = dict[str, bytes]
_PLACE = np.dtype("<u4")
#: Letters from which a word may be a beginning.
_LEAST = 3
#: No more words than these are taken for a beginning.
_MOST = 400


#: What it tells, the word asked for, the word known.
_Held = tuple[float, str, str]


class _Headed(Protocol):
    @property
    def id(self) -> str: ...
    @property
    def applies(self) -> Applies: ...


H = TypeVar("H", bound=_Headed)


class Found(msgspec.Struct, Generic[H], frozen=True):
    """One hit.

    Attributes:
        header: the procedure in short.
        score: how well the words fit; larger is better.
        differs: what of the car differs or is not known; empty: an exact match, or no car was given.
        reasons: why it was found, best first.
    """

    header: H
    score: float
    differs: tuple[Message, ...] = ()
    reasons: tuple[Message, ...] = ()

    @property
    def exact(self) -> bool:
        """Nothing differs and nothing is unknown."""
        return not self.differs


class Searched(Generic[H]):
    """Headers with the words they are found by. A place without a header is a file that cannot be used."""

    def __init__(self, headers: Sequence[H | None], postings: Postings, columns: Columns) -> None:
        self._headers = headers
        self._postings = postings
        self._columns = columns

    def search(self, words: str, vehicle: Vehicle | None, facts: CarFacts | None, count: int) -> tuple[Found[H], ...]:
        """Best first; without words all procedures."""
        asked = sorted(words_of([words]))
        score = np.zeros(len(self._headers))
        for word in asked:
            score += self._score(word)
        hits = np.flatnonzero(score > 0) if asked else np.flatnonzero([h is not None for h in self._headers])
        missed = np.zeros(len(self._headers), np.intp)
        if vehicle is not None:
            missed = self._columns.missed(vehicle, facts, self._applies)
        order = np.lexsort((hits, missed[hits], -score[hits], missed[hits] > 0))
        # Equal scores by id, not by place: a few more than asked for are looked at.
        best = [(int(place), self._header(int(place))) for place in hits[order[: count + 50]]]
        best.sort(key=lambda b: (missed[b[0]] > 0, -round(score[b[0]], 9), missed[b[0]], b[1].id))
        held = sorted(((weight, word, known) for word in asked for known, weight in self._like(word)), reverse=True)
        return tuple(self._found(place, float(score[place]), held, vehicle, facts) for place, _ in best[:count])

    @cached_property
    def _applies(self) -> tuple[Applies | None, ...]:
        return tuple(header.applies if header is not None else None for header in self._headers)

    def _header(self, place: int) -> H:
        header = self._headers[place]
        assert header is not None
        return header

    def _found(
        self, place: int, score: float, held: list[_Held], vehicle: Vehicle | None, facts: CarFacts | None
    ) -> Found[H]:
        header = self._header(place)
        other = differs(header.applies, vehicle, facts) if vehicle is not None else ()
        reasons = self._reasons(place, held)
        if vehicle is not None and not other:
            reasons = (say("find.exact", "fits this car exactly"), *reasons)
        return Found(header, round(score, 6), other, reasons)

    def _reasons(self, place: int, held: list[_Held]) -> tuple[Message, ...]:
        here = [(word, known) for _, word, known in held if place in self._places(known)]
        return tuple(
            say("find.word", "has {word}", word=known)
            if known == word
            else say("find.beginning", "{known} begins with {word}", known=known, word=word)
            for word, known in here[:5]
        )

    def _score(self, word: str) -> NDArray[np.float64]:
        """What one word tells of each place: the word itself whole, a beginning of another one half."""
        score = np.zeros(len(self._headers))
        for known, weight in self._like(word):
            places = self._places(known)
            score[places] = np.maximum(score[places], weight)
        return score

    def _like(self, word: str) -> Iterator[tuple[str, float]]:
        """Known words that are this word or begin with it, with what they tell."""
        total = len(self._headers) or 1
        if word in self._postings:
            yield word, math.log(1 + total / self._many(word))
        longer = self._longer(word) if len(word) >= _LEAST else ()
        together = sum(map(self._many, longer))
        for known in longer:
            yield known, 0.5 * math.log(1 + total / together)

    def _longer(self, word: str) -> tuple[str, ...]:
        """Words that begin with it; names joined by hyphens or dots only when what is asked for is one."""
        joined, found = not word.isalnum(), list[str]()
        place = bisect_left(self._sorted[joined], word)
        for known in islice(self._sorted[joined], place, place + _MOST + 1):
            if not known.startswith(word):
                break
            if known != word:
                found.append(known)
        return tuple(found[:_MOST])

    def _many(self, word: str) -> int:
        return max(1, len(self._postings[word]) // _PLACE.itemsize)

    def _places(self, word: str) -> NDArray[np.uint32]:
        return np.frombuffer(self._postings[word], _PLACE)

    @cached_property
    def _sorted(self) -> tuple[list[str], list[str]]:
        """Words without and with joints."""
        known = sorted(self._postings)
        return [w for w in known if w.isalnum()], [w for w in known if not w.isalnum()]


def postings_of(words: Iterable[Iterable[str]]) -> Postings:
    """Words of each place turned round."""
    places: dict[str, list[int]] = {}
    for place, held in enumerate(words):
        for word in held:
            places.setdefault(word, []).append(place)
    return {word: np.array(found, _PLACE).tobytes() for word, found in places.items()}


_RUN = re.compile(r"[a-z0-9]+")
_JOINED = re.compile(r"[a-z0-9]+(?:[.-][a-z0-9]+)+")


def words_of(texts: Iterable[str]) -> frozenset[str]:
    """Words of texts in small letters; what dots and hyphens join counts whole and in parts."""
    plain = "\n".join(texts).casefold()
    return frozenset((*_RUN.findall(plain), *_JOINED.findall(plain)))
