"""For thousands of procedures at once: how many things differ from one car. ``fit.differs`` counted, without its words.

What procedures are for stands in columns of small numbers, made when the index is made. Pure.
"""

from __future__ import annotations

from collections.abc import Sequence

import msgspec
import numpy as np
from numpy.typing import NDArray

from asleft.model.work import Vehicle

from .fit import CarFacts, other_numbers, plain
from .procedure import Applies

_CODE, _YEAR = np.dtype("<u4"), np.dtype("<i4")
_NO_YEAR = -1


class Column(msgspec.Struct, frozen=True):
    """Texts of one field, each kept once, and the number of its text for each place. Number 0 is the empty text."""

    texts: tuple[str, ...]
    codes: bytes

    def other(self, given: str) -> NDArray[np.bool_]:
        """Where a text is asked for and this is another."""
        codes = np.frombuffer(self.codes, _CODE)
        mine = self.texts.index(given) if given in self.texts else len(self.texts)
        return (codes != 0) & (codes != mine)

    @property
    def empty(self) -> NDArray[np.bool_]:
        """Where nothing is asked for."""
        return np.frombuffer(self.codes, _CODE) == 0


class Columns(msgspec.Struct, frozen=True):
    """All procedures of a book by field. ``years``: first and last; ``numbers``: places that ask for module numbers."""

    make: Column
    model: Column
    engine: Column
    propulsion: Column
    throttle: Column
    years: bytes
    numbers: tuple[int, ...]

    def missed(self, vehicle: Vehicle, facts: CarFacts | None, applies: Sequence[Applies | None]) -> NDArray[np.intp]:
        """For each place how many things differ from the car. Args: applies: of each place, for module numbers."""
        known = facts or CarFacts()
        found = self.make.other(plain(vehicle.make)).astype(np.intp) + self.make.empty
        found += self.model.other(plain(vehicle.model))
        found += self.engine.other(plain(known.engine))
        found += self.propulsion.other(known.propulsion.value) if known.propulsion else 0
        found += self.throttle.other(known.throttle.value) if known.throttle else 0
        found += self._wrong_year(vehicle.year)
        for place in self.numbers:
            one = applies[place]
            found[place] += len(tuple(other_numbers(one, known))) if one is not None else 0
        return found

    def _wrong_year(self, year: int | None) -> NDArray[np.bool_]:
        years = np.frombuffer(self.years, _YEAR).reshape(-1, 2)
        asked = years[:, 0] != _NO_YEAR
        return asked if year is None else asked & ((years[:, 0] > year) | (years[:, 1] < year))


def columns_of(applies: Sequence[Applies | None]) -> Columns:
    """Columns of what procedures are for; None is a file that cannot be used."""
    some = [one if one is not None else Applies() for one in applies]
    years = [one.years or (_NO_YEAR, _NO_YEAR) for one in some]
    return Columns(
        _column([plain(one.make) for one in some]),
        _column([plain(one.model) for one in some]),
        _column([plain(one.engine) for one in some]),
        _column([one.propulsion.value if one.propulsion else "" for one in some]),
        _column([one.throttle.value if one.throttle else "" for one in some]),
        np.array(years, _YEAR).tobytes(),
        tuple(place for place, one in enumerate(some) if one.numbers),
    )


def _column(texts: Sequence[str]) -> Column:
    codes: dict[str, int] = {"": 0}
    numbered = [codes.setdefault(text, len(codes)) for text in texts]
    return Column(tuple(codes), np.array(numbered, _CODE).tobytes())
