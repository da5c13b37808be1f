"""What stands in the way of work on this machine: looked at, said in words, nothing changed.

Example::

    for finding in examine(folder):
        print(finding.state, finding.what, finding.said, finding.advice)
"""

from __future__ import annotations

import os
import platform
import shutil
import socket
import stat
import sys
import time
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from enum import StrEnum
from importlib import metadata
from pathlib import Path

import msgspec

from asleft.link.address import parse_can
from asleft.link.found import found_links
from asleft.model.errors import AsleftError
from asleft.record.keys import PRIVATE_FILE
from asleft.record.tail import jobs_in, stored_events

from .people import read_people
from .workshop import read_workshop

#: Less free space than this and a day's recordings may not fit, bytes.
_ROOM = 500_000_000
#: The program was written after this; a clock before it is wrong.
_NOT_BEFORE = datetime(2026, 1, 1, tzinfo=UTC)
#: Packages that some formats need, and which.
_MORE = {
    "asammdf": "MDF4 recordings",
    "pyarrow": "Parquet recordings",
    "odxtools": "procedures from ODX",
    "cantools": "signals from DBC",
}


class State(StrEnum):
    """How something stands."""

    GOOD = "good"
    NOTE = "note"
    BAD = "bad"


class Finding(msgspec.Struct, frozen=True):
    """One thing looked at: how it stands, in words, and what to do."""

    what: str
    state: State
    said: str
    advice: str = ""


def examine(folder: Path, *, interfaces: bool = True) -> tuple[Finding, ...]:
    """Look at everything that work needs, in the order in which it is needed.

    Args: interfaces: look for interfaces too, which takes some seconds.
    """
    looks: tuple[Callable[[Path], Iterator[Finding]], ...] = (
        _program,
        _packages,
        _clock,
        _folder,
        _settings,
        _people,
        _key,
        _records,
        _engine,
        *((_interfaces,) if interfaces else ()),
    )
    return tuple(finding for look in looks for finding in _looked(look, folder))


def _looked(look: Callable[[Path], Iterator[Finding]], folder: Path) -> list[Finding]:
    try:
        return list(look(folder))
    except AsleftError as error:
        return [
            Finding(look.__name__.strip("_"), State.BAD, f"{error.where}: {error.cause} {error.detail}", error.advice)
        ]
    except OSError as error:
        return [Finding(look.__name__.strip("_"), State.BAD, str(error), "See to the file's rights and the disk.")]


def _program(_folder: Path) -> Iterator[Finding]:
    said = f"asleft {metadata.version('asleft')}, Python {platform.python_version()}, {platform.system()}"
    yield Finding("program", State.GOOD if sys.version_info >= (3, 11) else State.BAD, said)


def _packages(_folder: Path) -> Iterator[Finding]:
    for name, use in _MORE.items():
        try:
            yield Finding(name, State.GOOD, f"{metadata.version(name)}: {use}")
        except metadata.PackageNotFoundError:
            yield Finding(name, State.NOTE, f"not installed; needed only for {use}", f"pip install {name}")


def _clock(_folder: Path) -> Iterator[Finding]:
    now = datetime.now(UTC)
    good = now > _NOT_BEFORE
    advice = "" if good else "Set the clock: records carry its time."
    yield Finding("clock", State.GOOD if good else State.BAD, f"{now:%Y-%m-%d %H:%M} UTC, {time.tzname[0]}", advice)


def _folder(folder: Path) -> Iterator[Finding]:
    if not folder.is_dir():
        yield Finding("data folder", State.NOTE, f"{folder} is not there yet", "It is made on first use.")
        return
    writable = os.access(folder, os.W_OK)
    free = shutil.disk_usage(folder).free
    said = f"{folder}, {free / 1e9:.1f} GB free"
    state = State.BAD if not writable else State.GOOD if free > _ROOM else State.NOTE
    advice = "" if state is State.GOOD else "Make room, or give this user the right to write there."
    yield Finding("data folder", state, said, advice)


def _settings(folder: Path) -> Iterator[Finding]:
    workshop = read_workshop(folder)
    writes = "open" if workshop.writes_to_vehicles else "closed"
    said = f"{workshop.workshop or 'no name yet'}; writing to real cars {writes}"
    named = workshop.workshop and workshop.technician
    yield Finding(
        "settings",
        State.GOOD if named else State.NOTE,
        said,
        "" if named else "asleft settings workshop=… technician=…: both stand on reports.",
    )
    if not workshop.link:
        yield Finding("link", State.NOTE, "none chosen yet", "asleft links, then asleft settings link=…")
    elif workshop.link.startswith("can:"):
        yield Finding("link", State.GOOD, parse_can(workshop.link).text)
    else:
        yield Finding("link", State.GOOD, workshop.link)


def _people(folder: Path) -> Iterator[Finding]:
    people = read_people(folder)
    yield Finding("people", State.GOOD, f"{len(people)} may sign in from the workshop's network")


def _key(folder: Path) -> Iterator[Finding]:
    path = folder / PRIVATE_FILE
    if not path.exists():
        yield Finding("signing key", State.NOTE, "none yet", "It is made with the first job.")
        return
    wide = os.name == "posix" and stat.S_IMODE(path.stat().st_mode) & 0o077
    said = "others than its owner may read it" if wide else "there, for its owner only"
    yield Finding("signing key", State.BAD if wide else State.GOOD, said, f"chmod 600 {path}" if wide else "")


def _records(folder: Path) -> Iterator[Finding]:
    jobs = jobs_in(folder) if folder.is_dir() else ()
    bad: list[str] = []
    for job in jobs:
        try:
            stored_events(folder, job)
        except AsleftError as error:
            bad.append(f"{job} ({error.code.value})")
    said = f"{len(jobs)} jobs read and their chains checked" if not bad else f"damaged: {', '.join(bad)}"
    advice = "Restore the newest backup beside this folder and compare: asleft record restore." if bad else ""
    yield Finding("records", State.BAD if bad else State.GOOD, said, advice)


def _engine(folder: Path) -> Iterator[Finding]:
    path = folder / "engine.json"
    if not path.exists():
        yield Finding("engine", State.NOTE, "not running", "asleft serve starts it.")
        return
    port = int(msgspec.json.decode(path.read_bytes())["port"])
    with socket.socket() as probe:
        probe.settimeout(2.0)
        heard = probe.connect_ex(("127.0.0.1", port)) == 0
    said = f"answers on port {port}" if heard else "it left its address behind and does not answer"
    yield Finding("engine", State.GOOD if heard else State.NOTE, said, "" if heard else "Start it again: asleft serve.")


def _interfaces(_folder: Path) -> Iterator[Finding]:
    found = found_links()
    for link in found:
        yield Finding("interface", State.GOOD, link.address, link.note)
    if not found:
        yield Finding("interface", State.NOTE, "none found on this machine", "docs/links.md says how to connect one.")
