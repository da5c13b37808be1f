"""The index of a book: what is known of each file without reading it again, keyed by the hash of its content.

A warm start looks at names, sizes and times only; a changed file is read and linted again. The index is a cache: when
it is lost or of another version it is made anew::

    book = open_book(folder, cache / "book.index")
    book.search("throttle aldra 2012")            # best first, with what differs when a car is given
    book.load("throttle-stop-learn-aldra")
"""

from __future__ import annotations

import gc
import os
from collections.abc import Generator, Iterable
from concurrent.futures import ProcessPoolExecutor
from contextlib import contextmanager
from functools import cached_property
from pathlib import Path

import msgspec

from asleft.model.errors import Code, InputError
from asleft.model.work import Vehicle

from .columns import Columns, columns_of
from .fit import CarFacts
from .functions import name_of
from .lint import lint
from .loader import LoadedProcedure, ProcedureError, load_procedure
from .procedure import Applies, Procedure
from .remark import Level, Remark, nearest
from .search import Found, Postings, Searched, postings_of, words_of

VERSION = 3
#: Changed files from which several processes are worth their start.
_MANY = 200


class Header(msgspec.Struct, frozen=True, gc=False):
    """What is kept of one procedure.

    Attributes:
        id, function, name, revision, applies, module: as in its file. quick: whether it is a quick one.
        warnings, gaps: how many its lint found.
    """

    id: str
    function: str
    name: str
    revision: int
    applies: Applies
    module: str
    quick: bool
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
    """The index file. ``words`` (of each file) are wanted only when something changed."""

    version: int
    files: tuple[Filed, ...]
    postings: Postings
    columns: Columns
    words: msgspec.Raw


#: A file and the words it is found by.
_Read = tuple[Filed, tuple[str, ...]]


class IndexedBook:
    """A folder of procedures by way of its index; a procedure is read when it is asked for."""

    def __init__(self, folder: Path, files: Iterable[Filed], postings: Postings, columns: Columns) -> None:
        self.folder = folder
        self.files = tuple(files)
        self._by_id = {f.header.id: f for f in self.files if f.header is not None}
        self._postings, self._columns = postings, columns

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
        return load_procedure(self.path(procedure_id))

    def path(self, procedure_id: str) -> Path:
        """Its file. Raises InputError: procedure-missing, with the nearest id."""
        filed = self._by_id.get(procedure_id)
        if filed is None:
            near = nearest(procedure_id, tuple(self._by_id))
            raise InputError(Code.PROCEDURE_MISSING, f"{procedure_id}; nearest is {near}" if near else procedure_id)
        return self.folder / filed.name

    def search(
        self, words: str, vehicle: Vehicle | None = None, count: int = 20, facts: CarFacts | None = None
    ) -> tuple[Found[Header], ...]:
        """Procedures by words, function, car or module number, best first; a car's exact matches before all others.

        Args: facts: what is known of the car beyond the order; without words every procedure is looked at.
        """
        return self._searched.search(words, vehicle, facts, count)

    @cached_property
    def _searched(self) -> Searched[Header]:
        return Searched(tuple(f.header for f in self.files), self._postings, self._columns)


def open_book(folder: Path, index: Path, workers: int = 1) -> IndexedBook:
    """A folder with its index; what changed is read and linted again, and the index is written back.

    Args: workers: processes that read many changed files together.
    Raises: InputError: procedure-missing, no such folder.
    """
    if not folder.is_dir():
        raise InputError(Code.PROCEDURE_MISSING, "no such folder", str(folder))
    with _without_pauses():
        stored = _stored(index)
        known = {f.name: f for f in stored.files} if stored is not None else {}
        seen = _seen(folder)
        new = [
            (folder / name, size, time_ns) for name, size, time_ns in seen if not _same(known.get(name), size, time_ns)
        ]
        if stored is not None and not new and len(seen) == len(known):
            return IndexedBook(folder, stored.files, stored.postings, stored.columns)
        old = zip(stored.files, _words_stored(stored), strict=True) if stored is not None else ()
        read = {filed.name: (filed, words) for filed, words in (*old, *_read_all(new, workers))}
        files, words = _each_id_once([read[name] for name, _, _ in seen])
        postings = postings_of(words)
        columns = columns_of([f.header.applies if f.header is not None else None for f in files])
        _store(index, _Stored(VERSION, files, postings, columns, msgspec.Raw(msgspec.msgpack.encode(words))))
        return IndexedBook(folder, files, postings, columns)


def _seen(folder: Path) -> list[tuple[str, int, int]]:
    with os.scandir(folder) as entries:
        stats = [(e.name, e.stat()) for e in entries if e.name.endswith(".yaml")]
    return sorted((name, stat.st_size, stat.st_mtime_ns) for name, stat in stats)


@contextmanager
def _without_pauses() -> Generator[None]:
    """Hundreds of thousands of small values without a cycle among them: nothing for the cycle collector to find."""
    was = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was:
            gc.enable()


def _same(old: Filed | None, size: int, time_ns: int) -> bool:
    return old is not None and (old.size, old.time_ns) == (size, time_ns)


def _read_all(new: list[tuple[Path, int, int]], workers: int) -> Iterable[_Read]:
    if workers <= 1 or len(new) < _MANY:
        return [_file(one) for one in new]
    with ProcessPoolExecutor(workers, initializer=gc.disable) as pool:
        return list(pool.map(_file, new, chunksize=50))


def _file(what: tuple[Path, int, int]) -> _Read:
    path, size, time_ns = what
    try:
        loaded = load_procedure(path)
    except ProcedureError as bad:
        return Filed(path.name, size, time_ns, "", None, bad.remarks), ()
    remarks = lint(loaded)
    levels = [remark.level for remark in remarks]
    header = _header(loaded.procedure, loaded.quick, levels.count(Level.WARNING), levels.count(Level.GAP))
    return Filed(path.name, size, time_ns, loaded.digest, header), _words_for(loaded.procedure)


def _words_for(procedure: Procedure) -> tuple[str, ...]:
    """For finding it: names, function, cars, part and software numbers."""
    applies = procedure.applies
    rows = procedure.identifier.rows if procedure.identifier else ()
    texts = [procedure.id, procedure.name, procedure.function, name_of(procedure.function), procedure.module]
    texts += [applies.make, applies.model, applies.engine, *procedure.triggers]
    texts += [number for row in (*rows, *applies.numbers) for number in (row.part_number, row.software_number)]
    texts += [str(year) for year in range(applies.years[0], applies.years[1] + 1)] if applies.years else []
    return tuple(sorted(words_of(texts)))


def _header(procedure: Procedure, quick: bool, warnings: int, gaps: int) -> Header:
    return Header(
        procedure.id,
        procedure.function,
        procedure.name,
        procedure.revision,
        procedure.applies,
        procedure.module,
        quick,
        warnings,
        gaps,
    )


def _each_id_once(read: list[_Read]) -> tuple[tuple[Filed, ...], tuple[tuple[str, ...], ...]]:
    taken: dict[str, str] = {}
    files: list[Filed] = []
    found: list[tuple[str, ...]] = []
    for filed, words in read:
        header = filed.header
        first = taken.setdefault(header.id, filed.name) if header is not None else filed.name
        files.append(filed if first == filed.name else _twice(filed, first))
        found.append(words if first == filed.name else ())
    return tuple(files), tuple(found)


def _twice(filed: Filed, first: str) -> Filed:
    name = filed.header.id if filed.header is not None else "?"
    why, instead = f"{first} has the same id", "another id, or a newer revision there"
    remark = Remark(Level.ERROR, "same-id", filed.name, 1, name, "id", why, instead)
    # Without a time it is read again at the next start: the other file may be gone by then.
    return Filed(filed.name, -1, -1, filed.digest, None, (remark,))


def _words_stored(stored: _Stored) -> tuple[tuple[str, ...], ...]:
    return msgspec.msgpack.decode(stored.words, type=tuple[tuple[str, ...], ...])


def _stored(index: Path) -> _Stored | None:
    try:
        stored = msgspec.msgpack.decode(index.read_bytes(), type=_Stored)
    except (OSError, msgspec.MsgspecError):
        return None
    return stored if stored.version == VERSION else None


def _store(index: Path, stored: _Stored) -> None:
    """Written beside and put in place at once; a cache that cannot be written is not missed."""
    beside = index.with_name(f"{index.name}.{os.getpid()}")
    try:
        index.parent.mkdir(parents=True, exist_ok=True)
        beside.write_bytes(msgspec.msgpack.encode(stored))
        beside.replace(index)
    except OSError:
        beside.unlink(missing_ok=True)
