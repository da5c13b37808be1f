"""The files of a record, from a zip or a folder that a stranger gave."""

from __future__ import annotations

import re
from pathlib import Path

from .ed25519 import SIGNATURE_BYTES
from .export import CHUNKS, EVENTS, HEAD, KEY, KEYS, PERSONAL, SEALS, SIGNATURE, STAMP
from .plainzip import Refused, RefusedError, Shape, unpacked

#: Files that every record has.
ALWAYS = (EVENTS, HEAD, SIGNATURE, KEY, SEALS, KEYS)

#: Names that make a record, and the most bytes each may have.
SHAPE = Shape(
    limits={
        EVENTS: 1 << 30,
        HEAD: 65,
        SIGNATURE: SIGNATURE_BYTES,
        KEY: 4096,
        SEALS: 1 << 26,
        KEYS: 1 << 20,
        PERSONAL: 1 << 24,
        STAMP: 1 << 16,
    },
    more=re.compile(re.escape(CHUNKS) + "[0-9a-f]{64}"),
    more_limit=1 << 24,
    more_count=1 << 16,
    total=1 << 31,
)


def members_of(path: Path) -> tuple[dict[str, bytes], Refused | None]:
    """The files by name, and how a zip differs from the plain one.

    Raises: RefusedError: it is not read at all. OSError.
    """
    return (_folder(path), None) if path.is_dir() else unpacked(path, SHAPE)


def _folder(path: Path) -> dict[str, bytes]:
    chunks = sorted((path / CHUNKS).iterdir()) if (path / CHUNKS).is_dir() else []
    names = [*SHAPE.limits, *(CHUNKS + chunk.name for chunk in chunks)]
    members: dict[str, bytes] = {}
    for name in names:
        limit = SHAPE.limit(name)
        if limit is None:
            raise RefusedError(Refused(f"a file named {name!r} does not belong here"))
        if not (path / name).is_file():
            continue
        with (path / name).open("rb") as file:
            members[name] = file.read(limit + 1)
        if len(members[name]) > limit:
            raise RefusedError(Refused(f"{name} has more than {limit} bytes"))
    return members
