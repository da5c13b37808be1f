"""Whole files: the new one or the one of before, whatever happens in between, and durable when the call returns."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path


def put_file(path: Path, content: bytes, mode: int, *, only_new: bool = False) -> None:
    """Put a file in place.

    Args: only_new: leave a file that is there already, whoever made it.
    Raises: OSError.
    """
    if only_new and path.exists():
        return
    handle, name = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.")
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        Path(name).chmod(mode)
        if not only_new:
            Path(name).replace(path)
        else:
            _link_new(Path(name), path)
    finally:
        Path(name).unlink(missing_ok=True)
    sync_folder(path.parent)


def sync_folder(folder: Path) -> None:
    """Make names in a folder durable, where the system lets one."""
    if os.name != "posix":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def _link_new(written: Path, path: Path) -> None:
    try:
        os.link(written, path)
    except FileExistsError:
        return
