"""The index of a book: what is known of each file without reading it again, keyed by the hash of its content.

A warm start looks at names, sizes and times only; a changed file is read and linted again. The index is a cache: when
it is lost or of another version it is made anew::

    book = open_book(folder, cache / "book.index")
    book.search("throttle aldra 2012")            # best first, with what differs when a car is given
    book.load("throttle-stop-learn-aldra")
"""

from __future__ import annotations

import math
import os
import re
from bisect import bisect_left
from collections.abc import Iterable, Iterator
from concurrent.futures import ProcessPoolExecutor
from functools import cached_property
from heapq import nsmallest
from pathlib import Path

import msgspec

from asleft.model.errors import Code, InputError
from asleft.model.work import Vehicle

from .functions import name_of
from .lint import lint
from .loader import LoadedProcedure, ProcedureError, load_procedure
from .procedure import Applies, Procedure
from .remark import Level, Remark, nearest
from .shelf import differs

VERSION = 1
#: A word of more procedures than this only ranks what rarer words have found.
_COMMON = 500
#: Changed files from which several processes are worth their start.
_MANY = 200


class Header(msgspec.Struct, frozen=True):
    """What is kept of one procedure.

    Attributes:
        id, function, name, revision, applies, module: as in its file. quick: whether it is a quick one.
        words: for finding it: names, function, cars, part and software numbers.
        warnings, gaps: how many its lint found.
    """

    id: str
    function: str
    name: str
    revision: int
    applies: Applies
    module: str
    quick: bool
    words: tuple[str, ...]
    warnings: int
    gaps: int


class Filed(msgspec.Struct, frozen=True):
    """One file as it was when it was read: size, time, hash, and its header or its errors."""

    name: str
    size: int
    time_ns: int
    digest: str
    header: Header | None
    errors: tuple[Remark, ...] = ()


class _Stored(msgspec.Struct, frozen=True):
    version: int
    files: tuple[Filed, ...]


class Found(msgspec.Struct, frozen=True):
    """One hit: header, how well the words fit, and what of the car differs (empty: an exact match)."""

    header: Header
    score: float
    differs: tuple[str, ...] = ()


class IndexedBook:
    """A folder of procedures by way of its index; a procedure is read when it is asked for."""

    def __init__(self, folder: Path, files: Iterable[Filed]) -> None:
        self.folder = folder
        self.files = tuple(files)
        self._by_id = {f.header.id: f for f in self.files if f.header is not None}

    @property
    def headers(self) -> tuple[Header, ...]:
        """All usable procedures."""
        return tuple(f.header for f in self._by_id.values() if f.header is not None)

    @property
    def problems(self) -> tuple[Remark, ...]:
        """Errors of files that cannot be used."""
        return tuple(remark for f in self.files for remark in f.errors)

    def load(self, procedure_id: str) -> LoadedProcedure:
        """The procedure itself. Raises InputError: procedure-missing, with the nearest id."""
        filed = self._by_id.get(procedure_id)
        if filed is None:
            near = nearest(procedure_id, tuple(self._by_id))
            raise InputError(Code.PROCEDURE_MISSING, f"{procedure_id}; nearest is {near}" if near else procedure_id)
        return load_procedure(self.folder / filed.name)

    def search(self, words: str, vehicle: Vehicle | None = None, count: int = 20) -> tuple[Found, ...]:
        """Procedures by words, function, car or module number, best first; a car's exact matches before all others."""
        told = [one for word in _words([words]) for one in self._like(word)]
        hits: dict[str, float] = {}
        for known, weight in sorted(told, key=lambda one: len(self._places[one[0]])):
            names: Iterable[str] = self._places[known]
            if hits and len(self._places[known]) > _COMMON:
                names = hits.keys() & self._sets[known]
            for name in names:
                hits[name] = hits.get(name, 0.0) + weight
        if vehicle is None:
            best = nsmallest(count, hits.items(), key=lambda hit: (-hit[1], hit[0]))
            return tuple(self._found(name, score, None) for name, score in best)
        found = (self._found(name, score, vehicle) for name, score in hits.items())
        return tuple(nsmallest(count, found, key=lambda f: (bool(f.differs), -f.score, len(f.differs), f.header.id)))

    def _found(self, name: str, score: float, vehicle: Vehicle | None) -> Found:
        header = self._by_id[name].header
        assert header is not None
        other = tuple(m.text for m in differs(header.applies, vehicle)) if vehicle else ()
        return Found(header, round(score, 6), other)

    def _like(self, word: str) -> Iterator[tuple[str, float]]:
        """Known words that are this word or begin with it, with what they tell."""
        total = len(self._by_id) or 1
        if word in self._places:
            yield word, math.log(1 + total / len(self._places[word]))
        if len(word) >= 3:
            for known in self._beginning(word):
                if known != word:
                    yield known, 0.5 * math.log(1 + total / len(self._places[known]))

    def _beginning(self, word: str) -> Iterator[str]:
        place = bisect_left(self._sorted, word)
        while place < len(self._sorted) and self._sorted[place].startswith(word):
            yield self._sorted[place]
            place += 1

    @cached_property
    def _places(self) -> dict[str, list[str]]:
        places: dict[str, list[str]] = {}
        for header in self.headers:
            for word in header.words:
                places.setdefault(word, []).append(header.id)
        return places

    @cached_property
    def _sets(self) -> dict[str, frozenset[str]]:
        return {word: frozenset(names) for word, names in self._places.items() if len(names) > _COMMON}

    @cached_property
    def _sorted(self) -> list[str]:
        return sorted(self._places)


def open_book(folder: Path, index: Path, workers: int = 1) -> IndexedBook:
    """A folder with its index; what changed is read and linted again, and the index is written back.

    Args: workers: processes that read many changed files together.
    Raises: InputError: procedure-missing, no such folder.
    """
    if not folder.is_dir():
        raise InputError(Code.PROCEDURE_MISSING, "no such folder", str(folder))
    known = {f.name: f for f in _stored(index)}
    with os.scandir(folder) as entries:
        seen = sorted((e.name, e.stat().st_size, e.stat().st_mtime_ns) for e in entries if e.name.endswith(".yaml"))
    new = [(folder / name, size, time_ns) for name, size, time_ns in seen if not _same(known.get(name), size, time_ns)]
    read = {filed.name: filed for filed in _read_all(new, workers)}
    files = [read.get(name) or known[name] for name, _, _ in seen]
    if files != list(known.values()):
        _store(index, files)
    return IndexedBook(folder, _each_id_once(files))


def _same(old: Filed | None, size: int, time_ns: int) -> bool:
    return old is not None and (old.size, old.time_ns) == (size, time_ns)


def _read_all(new: list[tuple[Path, int, int]], workers: int) -> Iterable[Filed]:
    if workers <= 1 or len(new) < _MANY:
        return [_file(one) for one in new]
    with ProcessPoolExecutor(workers) as pool:
        return list(pool.map(_file, new, chunksize=50))


def _file(what: tuple[Path, int, int]) -> Filed:
    path, size, time_ns = what
    try:
        loaded = load_procedure(path)
    except ProcedureError as bad:
        return Filed(path.name, size, time_ns, "", None, bad.remarks)
    remarks = lint(loaded)
    levels = [remark.level for remark in remarks]
    header = _header(loaded.procedure, loaded.quick, levels.count(Level.WARNING), levels.count(Level.GAP))
    return Filed(path.name, size, time_ns, loaded.digest, header)


def _header(procedure: Procedure, quick: bool, warnings: int, gaps: int) -> Header:
    applies = procedure.applies
    rows = procedure.identifier.rows if procedure.identifier else ()
    texts = [procedure.id, procedure.name, procedure.function, name_of(procedure.function), procedure.module]
    texts += [applies.make, applies.model, applies.engine, *procedure.triggers]
    texts += [number for row in rows for number in (row.part_number, row.software_number)]
    texts += [str(year) for year in range(applies.years[0], applies.years[1] + 1)] if applies.years else []
    return Header(
        procedure.id,
        procedure.function,
        procedure.name,
        procedure.revision,
        applies,
        procedure.module,
        quick,
        tuple(sorted(_words(texts))),
        warnings,
        gaps,
    )


def _each_id_once(files: list[Filed]) -> Iterator[Filed]:
    taken: dict[str, str] = {}
    for filed in files:
        if filed.header is not None and filed.header.id in taken:
            why = f"{taken[filed.header.id]} has the same id"
            remark = Remark(
                Level.ERROR,
                "same-id",
                filed.name,
                1,
                filed.header.id,
                "id",
                why,
                "another id, or a newer revision there",
            )
            yield msgspec.structs.replace(filed, header=None, errors=(remark,))
            continue
        if filed.header is not None:
            taken[filed.header.id] = filed.name
        yield filed


def _stored(index: Path) -> tuple[Filed, ...]:
    try:
        stored = msgspec.msgpack.decode(index.read_bytes(), type=_Stored)
    except (OSError, msgspec.MsgspecError):
        return ()
    return stored.files if stored.version == VERSION else ()


def _store(index: Path, files: list[Filed]) -> None:
    """Written beside and put in place at once; a cache that cannot be written is not missed."""
    beside = index.with_name(f"{index.name}.{os.getpid()}")
    try:
        index.parent.mkdir(parents=True, exist_ok=True)
        beside.write_bytes(msgspec.msgpack.encode(_Stored(VERSION, tuple(files))))
        beside.replace(index)
    except OSError:
        beside.unlink(missing_ok=True)


def _words(texts: Iterable[str]) -> frozenset[str]:
    found: set[str] = set()
    for text in texts:
        plain = text.casefold()
        found.update(re.findall(r"[a-z0-9]+", plain))
        found.update(re.findall(r"[a-z0-9]+(?:[.-][a-z0-9]+)+", plain))
    return frozenset(found)
