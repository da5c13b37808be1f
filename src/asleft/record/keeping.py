"""Whether what stands beside the events is what they commit to: chunks of samples, personal values. Pure."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence

import msgspec

from .canonical import is_canonical
from .export import CHUNKS, EVENTS, PERSONAL
from .findings import Finding, Flaw, finding
from .lines import Line
from .personal import commitment_of
from .storing import CHUNK, chunk_hash

_NAMED = re.compile(rb'"chunks":\[("[0-9a-f]{64}"(?:,"[0-9a-f]{64}")*)\]')
_COMMITTED = re.compile(rb'"personal:([0-9a-f]{64})"')


class _Chunk(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    times_s: tuple[float, ...]
    values: tuple[float, ...]


class _Row(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    commitment: str
    salt: str
    value: str


def about_the_chunks(members: Mapping[str, bytes]) -> list[Finding]:
    """Chunks that are missing, changed, or named by no event."""
    named = {
        name.strip('"') for found in _NAMED.findall(members.get(EVENTS, b"")) for name in found.decode().split(",")
    }
    there = {name.removeprefix(CHUNKS): content for name, content in members.items() if name.startswith(CHUNKS)}
    found: list[Finding] = []
    for name in sorted(named | there.keys()):
        place = {"member": CHUNKS + name}
        if name not in there:
            found.append(finding(Flaw.CHUNK, "missing", "samples that an event names are missing", place))
        elif chunk_hash(there[name]) != name:
            found.append(finding(Flaw.CHUNK, "changed", "the samples are not those that the event names", place))
        elif name not in named:
            found.append(finding(Flaw.CHUNK, "strange", "no event names these samples", place))
        elif samples_in(there[name]) is None:
            found.append(finding(Flaw.CHUNK, "form", "not samples in their form", place))
    return found


def about_the_sizes(members: Mapping[str, bytes], lines: Sequence[Line]) -> list[Finding]:
    """Series whose chunks hold another number of samples than they say."""
    found: list[Finding] = []
    for line in lines:
        for names, count in line.chunked:
            sizes = [samples_in(members.get(CHUNKS + name, b"")) for name in names]
            if None not in sizes and sum(size or 0 for size in sizes) != count:
                text = "its chunks hold another number of samples than the {count} it says"
                found.append(finding(Flaw.CHUNK, "count", text, line.place(), count=count))
    return found


def samples_in(content: bytes) -> int | None:
    """How many samples a chunk holds; None: it is not one."""
    try:
        chunk = msgspec.json.decode(content, type=_Chunk)
    except (msgspec.MsgspecError, UnicodeDecodeError, RecursionError):
        return None
    count = len(chunk.times_s)
    whole = count == len(chunk.values) and 1 <= count <= CHUNK and is_canonical(content)
    return count if whole else None


def about_the_personal(members: Mapping[str, bytes]) -> tuple[int, list[Finding]]:
    """How many commitments are not opened, and rows that open none."""
    committed = {found.decode() for found in _COMMITTED.findall(members.get(EVENTS, b""))}
    content = members.get(PERSONAL)
    if content is None:
        return len(committed), []
    if not content.endswith(b"\n"):
        return len(committed), [finding(Flaw.PERSONAL, "end", "the last line has no line end", {"member": PERSONAL})]
    found: list[Finding] = []
    before = ""
    for number, text in enumerate(content[:-1].split(b"\n"), 1):
        why, row = _read(text)
        if row is not None:
            why = why or _problem(row, committed, before)
            before = row.commitment
        if why:
            found.append(finding(Flaw.PERSONAL, "line", "{why}", {"member": PERSONAL, "line": number}, why=why))
    return len(committed) - content.count(b"\n"), found


def _read(text: bytes) -> tuple[str, _Row | None]:
    try:
        row = msgspec.json.decode(text, type=_Row)
    except (msgspec.MsgspecError, UnicodeDecodeError, RecursionError) as error:
        return f"not a personal value: {error}", None
    return "" if is_canonical(text) else "not canonical JSON (RFC 8785)", row


def _problem(row: _Row, committed: set[str], before: str) -> str:
    if row.commitment not in committed:
        return "no event commits to this value"
    if commitment_of(row.salt, row.value) != row.commitment:
        return "not the value that the event commits to"
    return "" if row.commitment > before else "out of order, or there twice"
