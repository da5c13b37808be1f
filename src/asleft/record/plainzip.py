"""A plain zip: members stored as they are, in a given order, with fixed times; the same members give the same bytes.

Reading is for files from strangers: nothing is unpacked to disk, nothing is believed about sizes, and whatever is not
exactly a plain zip of the expected members is refused with the place.

Source: PKWARE APPNOTE 6.3 (local header, central directory), through the standard library's ``zipfile``.
"""

from __future__ import annotations

import io
import re
import zipfile
from collections.abc import Mapping
from pathlib import Path
from typing import NamedTuple

#: The earliest time the format can say.
_TIME = (1980, 1, 1, 0, 0, 0)


class Refused(NamedTuple):
    """Why a container is not read: words and the byte it was seen at, if known."""

    text: str
    start: int | None = None
    stop: int | None = None


class RefusedError(Exception):
    """A container that is not read at all."""

    def __init__(self, refused: Refused) -> None:
        self.refused = refused
        super().__init__(refused.text)


def packed(members: Mapping[str, bytes]) -> bytes:
    """The zip with these members, in this order."""
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_STORED, allowZip64=True) as archive:
        for name, content in members.items():
            info = zipfile.ZipInfo(name, _TIME)
            info.create_system = 3
            info.external_attr = 0o100644 << 16
            archive.writestr(info, content)
    return buffer.getvalue()


class Shape(NamedTuple):
    """What a container may hold.

    Attributes:
        limits: names in their order, with the most bytes each may have.
        more: pattern of further names, which stand behind those, sorted.
        more_limit: most bytes of each of them.
        more_count: most of them.
        total: most bytes of the whole.
    """

    limits: Mapping[str, int]
    more: re.Pattern[str]
    more_limit: int
    more_count: int
    total: int

    def limit(self, name: str) -> int | None:
        """Most bytes of a member; None: it does not belong here."""
        if name in self.limits:
            return self.limits[name]
        return self.more_limit if self.more.fullmatch(name) else None

    def ordered(self, members: Mapping[str, bytes]) -> dict[str, bytes]:
        """Members in the order they stand in the plain zip."""
        more = sorted(name for name in members if name not in self.limits)
        return {name: members[name] for name in (*self.limits, *more) if name in members}


def unpacked(path: Path, shape: Shape) -> tuple[dict[str, bytes], Refused | None]:
    """Members of a zip from a stranger, read into memory, and how the container differs from the plain one.

    Raises: RefusedError: not a zip, too large, strange or double names, encrypted, compressed. OSError.
    """
    if path.stat().st_size > shape.total:
        raise RefusedError(Refused(f"the file is larger than the {shape.total} bytes a record may have"))
    content = path.read_bytes()
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as archive:
            entries = archive.infolist()
            _check(entries, shape)
            members = {entry.filename: _read(archive, entry) for entry in entries}
    except (zipfile.BadZipFile, EOFError, ValueError, NotImplementedError, RuntimeError) as error:
        raise RefusedError(Refused(f"not a whole zip: {error}")) from error
    return members, _first_difference(content, packed(shape.ordered(members)))


def _check(entries: list[zipfile.ZipInfo], shape: Shape) -> None:
    most = len(shape.limits) + shape.more_count
    if len(entries) > most:
        raise RefusedError(Refused(f"{len(entries)} members where at most {most} belong"))
    seen: set[str] = set()
    for entry in entries:
        at = entry.header_offset
        limit = shape.limit(entry.filename)
        if limit is None:
            raise RefusedError(Refused(f"a member named {entry.filename!r} does not belong here", at))
        if entry.filename in seen:
            raise RefusedError(Refused(f"{entry.filename} is there twice", at))
        seen.add(entry.filename)
        if entry.flag_bits & 0x1:
            raise RefusedError(Refused(f"{entry.filename} is encrypted", at))
        if entry.compress_type != zipfile.ZIP_STORED or entry.compress_size != entry.file_size:
            raise RefusedError(Refused(f"{entry.filename} is compressed: unpack it and check the folder", at))
        if entry.file_size > limit:
            raise RefusedError(Refused(f"{entry.filename} has more than {limit} bytes", at))
    if sum(entry.file_size for entry in entries) > shape.total:
        raise RefusedError(Refused("the members overlap"))


def _read(archive: zipfile.ZipFile, entry: zipfile.ZipInfo) -> bytes:
    with archive.open(entry) as member:
        content = member.read(entry.file_size + 1)
    if len(content) != entry.file_size:
        raise RefusedError(Refused(f"{entry.filename} has another length than it says", entry.header_offset))
    return content


def _first_difference(found: bytes, plain: bytes) -> Refused | None:
    if found == plain:
        return None
    start = next((i for i, (a, b) in enumerate(zip(found, plain, strict=False)) if a != b), min(len(found), len(plain)))
    return Refused("the zip is not the plain one of its members", start, len(found))
