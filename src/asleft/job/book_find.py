"""Finding procedures for faces: by words, car and module number, with why, and what differs from the car."""

from __future__ import annotations

import hashlib
from pathlib import Path

import msgspec

from asleft.book.fit import CarFacts
from asleft.book.index import Header, open_book
from asleft.book.loader import load_procedure
from asleft.book.procedure import ModuleNumbers, Propulsion
from asleft.book.search import Found
from asleft.model.errors import Code, InputError
from asleft.model.vin import Vin, VinCheck
from asleft.model.work import Vehicle

from .book_trust import known_trust
from .settings import BOOK, data_folder


class Asked(msgspec.Struct, frozen=True):
    """What is looked for. ``part``, ``software``: as the module gives them; ``propulsion``: petrol, diesel …"""

    words: str = ""
    make: str = ""
    model: str = ""
    year: int | None = None
    engine: str = ""
    propulsion: str = ""
    part: str = ""
    software: str = ""


class Hit(msgspec.Struct, frozen=True):
    """One procedure found: its level, whether it may run by wire, why it was found, what differs."""

    id: str
    name: str
    file: str
    level: str
    exact: bool
    score: float
    reasons: tuple[str, ...]
    differs: tuple[str, ...]


def find_procedures(asked: Asked, folders: tuple[Path, ...] = (), count: int = 20) -> tuple[Hit, ...]:
    """Best first; a car's exact matches before all others. Without folders: the program's book and the workshop's.

    Raises: InputError: procedure-missing, no such folder; procedure-bad, no such propulsion.
    """
    vehicle, facts = _car(asked), _facts(asked)
    hits: list[tuple[Found[Header], Path]] = []
    for folder in folders or _usual():
        name = hashlib.sha256(str(folder.resolve()).encode()).hexdigest()[:16]
        book = open_book(folder, data_folder() / "index" / name)
        hits.extend((found, book.path(found.header.id)) for found in book.search(asked.words, vehicle, count, facts))
    hits.sort(key=lambda h: (bool(h[0].differs), -h[0].score, len(h[0].differs), h[0].header.id))
    return tuple(_hit(found, path, car=vehicle is not None) for found, path in hits[:count])


def _usual() -> tuple[Path, ...]:
    own = data_folder() / "procedures"
    return (BOOK, own) if own.is_dir() else (BOOK,)


def _hit(found: Found[Header], path: Path, *, car: bool) -> Hit:
    header = found.header
    level = known_trust()(load_procedure(path)).value
    differing = tuple(m.text for m in found.differs)
    return Hit(
        header.id,
        header.name,
        str(path),
        level,
        car and found.exact,
        round(found.score, 3),
        tuple(m.text for m in found.reasons),
        differing,
    )


def _car(asked: Asked) -> Vehicle | None:
    told = asked.make or asked.model or asked.year or asked.engine or asked.part or asked.software
    if not told:
        return None
    return Vehicle(Vin("", VinCheck.NOT_REQUIRED), asked.make, asked.model, asked.year)


def _facts(asked: Asked) -> CarFacts:
    if asked.propulsion and asked.propulsion not in tuple(Propulsion):
        raise InputError(Code.PROCEDURE_BAD, f"no propulsion {asked.propulsion!r}; there are {', '.join(Propulsion)}")
    numbers = (ModuleNumbers(asked.part, asked.software),) if asked.part or asked.software else ()
    return CarFacts(asked.engine, Propulsion(asked.propulsion) if asked.propulsion else None, None, numbers)
