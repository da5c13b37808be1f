"""From an event to the bytes that are stored, and back: long series as chunks, personal values as commitments.

An event in memory is whole. In the stored bytes a long series names chunks by their SHA-256 instead of holding the
numbers, and a personal text stands as ``personal:`` with the SHA-256 of its salt and itself. Pure.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import Any, NamedTuple, cast

import msgspec

from asleft.event.envelope import FORMAT, Event, decode, from_plain
from asleft.model.errors import Code, RecordError

from .canonical import canonical
from .personal import PREFIX, PersonalBook, Withheld

#: Most samples of a series that stand in the event itself.
INLINE = 256

#: Samples in a full chunk.
CHUNK = 2048

#: A recording as a whole, and the parts kept while it runs, which are always in chunks.
_WHOLE = "samples-taken@1"
_PART = "samples-part@1"


NO_CUTS: Mapping[str, Sequence[int]] = {}


class Stored(NamedTuple):
    """An event ready to be written.

    Attributes:
        stored: its bytes.
        chunks: contents by hash that it names.
        withheld: personal values that it commits to and that are new.
    """

    stored: bytes
    chunks: dict[str, bytes]
    withheld: tuple[Withheld, ...]


def to_stored(event: Event, book: PersonalBook, cuts: Mapping[str, Sequence[int]] = NO_CUTS) -> Stored:
    """The bytes of an event and what must be kept beside them.

    Args: cuts: by signal, how many samples each chunk of a recording held that was kept already while it ran: the
        whole is cut at the same places, so that it names the same chunks.
    Raises: ValueError, TypeError: it cannot be written as canonical JSON.
    """
    plain = cast("dict[str, Any]", msgspec.to_builtins(event))
    chunks: dict[str, bytes] = {}
    kind = plain["body"]["type"]
    if kind in {_WHOLE, _PART}:
        inline = INLINE if kind == _WHOLE else 0
        plain["body"]["series"] = [
            _outsourced(series, chunks, inline, cuts.get(series["signal"], ())) for series in plain["body"]["series"]
        ]
    plain["body"], withheld = book.hide(plain["body"])
    return Stored(canonical(plain), chunks, withheld)


def from_stored(stored: bytes, chunk_of: Callable[[str], bytes | None], personal: Mapping[str, str]) -> Event:
    """The event of stored bytes, whole as far as chunks and personal values are at hand.

    Args: chunk_of: content of a chunk by its hash. personal: value by commitment; an erased one stays withheld.
    Raises: RecordError: record-damaged.
    """
    if b'"chunks":["' not in stored and PREFIX.encode() not in stored:
        return decode(stored)
    decode(stored)
    try:
        plain = msgspec.json.decode(stored)
        body = revealed(plain["body"], personal)
        if body.get("type") in {_WHOLE, _PART}:
            body["series"] = [brought_back(series, chunk_of) for series in body["series"]]
        return from_plain({**plain, "body": body})
    except (msgspec.MsgspecError, KeyError, TypeError, ValueError) as error:
        raise RecordError(Code.RECORD_DAMAGED, f"{FORMAT}: {error}") from error


def chunk_bytes(times_s: list[float], values: list[float]) -> bytes:
    """The bytes of a chunk: canonical JSON, times in s, as many values as times."""
    return canonical({"times_s": times_s, "values": values})


def chunk_hash(content: bytes) -> str:
    """SHA-256 of a chunk, hexadecimal: its name."""
    return hashlib.sha256(content).hexdigest()


def revealed(value: Any, personal: Mapping[str, str]) -> Any:
    """A value with the personal texts that are at hand put back."""
    match value:
        case str() if value.startswith(PREFIX):
            return personal.get(value.removeprefix(PREFIX), value)
        case dict():
            return {key: revealed(part, personal) for key, part in cast("dict[str, Any]", value).items()}
        case list():
            return [revealed(part, personal) for part in cast("list[Any]", value)]
        case _:
            return value


def brought_back(series: dict[str, Any], chunk_of: Callable[[str], bytes | None]) -> dict[str, Any]:
    """A series with its numbers from the chunks it names. Raises RecordError (record-damaged) when one is missing."""
    names = cast("list[str]", series.get("chunks", []))
    if not names:
        return series
    times: list[float] = []
    values: list[float] = []
    for name in names:
        content = chunk_of(name)
        if content is None or chunk_hash(content) != name:
            raise RecordError(Code.RECORD_DAMAGED, f"chunk {name} is missing or changed")
        part = msgspec.json.decode(content)
        times += part["times_s"]
        values += part["values"]
    return {**series, "times_s": times, "values": values}


def _outsourced(series: dict[str, Any], chunks: dict[str, bytes], inline: int, cuts: Sequence[int]) -> dict[str, Any]:
    times, values = list(series["times_s"]), list(series["values"])
    if len(times) <= inline:
        return series
    names: list[str] = []
    for start, stop in _pieces(len(times), cuts):
        content = chunk_bytes(times[start:stop], values[start:stop])
        names.append(chunk_hash(content))
        chunks[names[-1]] = content
    return {**series, "times_s": [], "values": [], "chunks": names, "count": len(times)}


def _pieces(count: int, cuts: Sequence[int]) -> Iterator[tuple[int, int]]:
    """Where ``count`` samples are cut: as before, then in full chunks."""
    start = 0
    for size in cuts:
        if start + size > count:
            break
        yield start, start + size
        start += size
    for at in range(start, count, CHUNK):
        yield at, min(at + CHUNK, count)
