"""Facts that no module tells: as a person states them, as the workshop's settings say them, as this machine knows them.

Example::

    read_fact({"key": "odometer-in", "text": "84112", "unit": "km", "source": "cluster display"})
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Mapping
from functools import cache
from importlib import resources
from importlib.resources.abc import Traversable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import msgspec

from asleft.event.body import FactStated
from asleft.model.errors import AsleftError, Code, InputError
from asleft.model.fact import Fact, FactKey
from asleft.model.reading import Evidence
from asleft.ports.journal import Journal
from asleft.report.words import Words

if TYPE_CHECKING:
    from .workshop import Workshop

_LONGEST = 300
_MOST = 100
_FIELDS = frozenset(Fact.__struct_fields__)


def read_fact(said: Mapping[str, Any]) -> Fact:
    """A fact as a page, a command or an order gives it.

    Raises: InputError (fact-bad): no such key, nothing said, too long, an unknown kind of evidence.
    """
    strange = sorted(set(said) - _FIELDS)
    if strange:
        raise InputError(Code.FACT_BAD, f"{', '.join(strange)}: a fact has {', '.join(sorted(_FIELDS))}")
    texts = {name: " ".join(str(value).split()) for name, value in said.items()}
    key = texts.get("key", "")
    if key not in {k.value for k in FactKey}:
        raise InputError(Code.FACT_BAD, f"{key!r} is none of {', '.join(k.value for k in FactKey)}")
    if not texts.get("text"):
        raise InputError(Code.FACT_BAD, f"{key}: nothing is said")
    if long := next((name for name, text in texts.items() if len(text) > _LONGEST), ""):
        raise InputError(Code.FACT_BAD, f"{key}: {long} has at most {_LONGEST} characters")
    try:
        return msgspec.convert({name: text for name, text in texts.items() if text}, Fact)
    except msgspec.ValidationError as error:
        raise InputError(Code.FACT_BAD, f"{key}: {error}") from error


def read_facts(said: Iterable[Mapping[str, Any]]) -> tuple[Fact, ...]:
    """Several of them. Raises InputError (fact-bad)."""
    facts = tuple(read_fact(each) for each in said)
    if len(facts) > _MOST:
        raise InputError(Code.FACT_BAD, f"{len(facts)} facts at once; at most {_MOST}")
    return facts


def state_facts(journal: Journal, facts: Iterable[Fact], by: str) -> None:
    """Write facts into a record. Raises: InputError (fact-bad): nobody says who states them. RecordError."""
    if not by.strip():
        raise InputError(Code.FACT_BAD, "say who states it")
    for fact in facts:
        journal.append(FactStated(fact), actor=by.strip())


def fact_words() -> tuple[tuple[str, str], ...]:
    """Every key that can be stated, with the words it has on the paper."""
    words = Words()
    return tuple((key.value, words(f"fact.{key.value}")) for key in FactKey)


def workshop_facts(workshop: Workshop) -> tuple[Fact, ...]:
    """What the settings say, and the digest of the program."""
    said = (
        (FactKey.WORKSHOP_ADDRESS, workshop.address),
        (FactKey.WORKSHOP_LICENCE, workshop.licence),
        (FactKey.INTERFACE, workshop.interface),
        *((FactKey.GAUGE, gauge) for gauge in workshop.gauges),
    )
    return (*(Fact(key, text, source="settings of the workshop") for key, text in said if text), program_fact())


def program_fact() -> Fact:
    """SHA-256 over the program's own files."""
    return Fact(FactKey.PROGRAM_DIGEST, program_digest(), evidence=Evidence.MEASURED, source="files of the program")


@cache
def program_digest() -> str:
    """SHA-256 over the names and contents of every Python and data file of this package, in the order of names, hex."""
    total = hashlib.sha256()
    for name, content in sorted(_files(resources.files("asleft"), "")):
        total.update(f"{name}\0{len(content)}\0".encode() + content)
    return total.hexdigest()


def previous_from(folder: Path, vin: str, origin: str) -> tuple[Fact, ...]:
    """The newest closed record of this car in the history of a data folder: its number and head; nothing without one.

    It never stands in a job's way: a history that cannot be read gives nothing. Jobs of bench cars, recordings and
    real cars are kept apart.
    """
    from .history import History  # noqa: PLC0415 - loads the store

    history = History(folder)
    try:
        history.refresh()
        jobs = history.car(vin).jobs
    except AsleftError:
        return ()
    finally:
        history.close()
    closed = [whole.job for whole in jobs if whole.job.closed and whole.job.origin == origin]
    if not closed:
        return ()
    text = f"{closed[-1].number}, head {closed[-1].head}"
    return (Fact(FactKey.PREVIOUS_RECORD, text, evidence=Evidence.DOCUMENT, source="history of this workshop"),)


def _files(folder: Traversable, path: str) -> Iterable[tuple[str, bytes]]:
    for each in folder.iterdir():
        name = f"{path}/{each.name}"
        if each.is_dir():
            if each.name != "__pycache__":
                yield from _files(each, name)
        elif not each.name.endswith(".pyc"):
            yield name, each.read_bytes()
