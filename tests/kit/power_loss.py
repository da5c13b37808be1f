"""A SQLite file layer that writes down every write, sync, truncation and deletion, and disks rebuilt from that log.

A disk after a power failure holds what was synced, and of what was not synced any part: here nothing, everything, or
a part chosen by a seed, torn in the middle if it comes so.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import NamedTuple

import apsw


class Op(NamedTuple):
    """One operation on one file: ``write`` (data at offset), ``truncate`` (to offset), ``sync``, ``delete``.

    A ``delete`` with offset 1 syncs the folder, so that it stays deleted.
    """

    kind: str
    file: str
    data: bytes = b""
    offset: int = 0


class LoggedDisk(apsw.VFS):
    """The system's file layer with a log. Made under ``name``; pass that name to ``open_journal``."""

    def __init__(self, name: str, on_op: Callable[[Op], None] | None = None) -> None:
        self.log: list[Op] = []
        self._on_op = on_op
        super().__init__(name, "")

    def xOpen(self, name: apsw.URIFilename | str | None, flags: list[int]) -> LoggedFile:
        return LoggedFile(self, name, flags)

    def xDelete(self, filename: str, syncdir: bool) -> None:
        self.note(Op("delete", Path(filename).name, offset=int(syncdir)))
        super().xDelete(filename, syncdir)

    def note(self, op: Op) -> None:
        self.log.append(op)
        if self._on_op:
            self._on_op(op)


class LoggedFile(apsw.VFSFile):
    def __init__(self, disk: LoggedDisk, name: apsw.URIFilename | str | None, flags: list[int]) -> None:
        self._disk = disk
        path = name.filename() if isinstance(name, apsw.URIFilename) else name
        self._name = Path(path).name if path else ""
        super().__init__("", name, flags)

    def xWrite(self, data: bytes, offset: int) -> None:
        self._disk.note(Op("write", self._name, bytes(data), offset))
        super().xWrite(data, offset)

    def xTruncate(self, newsize: int) -> None:
        self._disk.note(Op("truncate", self._name, offset=newsize))
        super().xTruncate(newsize)

    def xSync(self, flags: int) -> None:
        self._disk.note(Op("sync", self._name))
        super().xSync(flags)


def disk_after(log: Sequence[Op], folder: Path, keep: Callable[[Op], bytes | None]) -> None:
    """Write to ``folder`` the files as they stand when the power fails after ``log``.

    Args: keep: for every operation that no sync followed: what of its data arrived; None: nothing happened.
    """
    folder.mkdir(parents=True)
    files: dict[str, bytearray] = {}
    synced = {op.file: place for place, op in enumerate(log) if op.kind == "sync"}
    for place, op in enumerate(log):
        if not op.file or op.file.endswith(".lease") or op.kind == "sync":
            continue
        sure = place < synced.get(op.file, -1) or (op.kind == "delete" and op.offset == 1)
        arrived = op.data if sure else keep(op)
        if arrived is not None:
            _apply(files, op, arrived)
    for name, content in files.items():
        (folder / name).write_bytes(content)


def nothing(_: Op) -> bytes | None:
    """Nothing arrived that was not synced."""
    return None


def everything(op: Op) -> bytes | None:
    """All arrived, as when only the program dies."""
    return op.data


def some(seed: int) -> Callable[[Op], bytes | None]:
    """Any part, in no order, some of it torn."""
    chance = random.Random(seed)

    def keep(op: Op) -> bytes | None:
        how = chance.random()
        if how < 0.4:
            return None
        return op.data if how < 0.8 else op.data[: chance.randrange(len(op.data) + 1)]

    return keep


def _apply(files: dict[str, bytearray], op: Op, data: bytes) -> None:
    if op.kind == "delete":
        files.pop(op.file, None)
        return
    content = files.setdefault(op.file, bytearray())
    if op.kind == "truncate":
        del content[op.offset :]
        return
    content.extend(bytes(max(0, op.offset + len(data) - len(content))))
    content[op.offset : op.offset + len(data)] = data
