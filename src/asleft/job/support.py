"""A bundle to send with a question: how this machine stands and how often what happened; nothing of cars or people.

What goes in is listed here one by one; nothing is copied whole. Left out: names, plates, VINs, values, texts, keys,
hashes of records.
"""

from __future__ import annotations

import zipfile
from collections import Counter
from datetime import UTC, datetime
from importlib import metadata
from pathlib import Path

import msgspec

from asleft.event import body as b
from asleft.event.envelope import type_of
from asleft.model.errors import AsleftError
from asleft.record.tail import jobs_in, stored_events

from .doctor import examine
from .workshop import read_workshop

#: Settings that say nothing of anybody.
_PLAIN = ("language", "locale", "paper", "customary_units", "writes_to_vehicles")


def bundle(folder: Path, into: Path) -> tuple[str, ...]:
    """Write the bundle. Returns the names of what is in it.

    Raises: OSError.
    """
    parts = {
        "read-me.txt": __doc__ or "",
        "doctor.json": _json(
            [f for f in examine(folder, interfaces=False) if f.what not in ("settings", "link")], folder
        ),
        "settings.json": _json(_settings(folder), folder),
        "packages.json": _json({d.name: d.version for d in metadata.distributions()}, folder),
        "jobs.json": _json(_jobs(folder), folder),
    }
    into.parent.mkdir(parents=True, exist_ok=True)
    with zipfile.ZipFile(into, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in parts.items():
            archive.writestr(name, content)
    return tuple(parts)


def _json(value: object, folder: Path) -> str:
    """As JSON, without the place of the data folder: its path often holds a name."""
    said = msgspec.json.format(msgspec.json.encode(value), indent=1).decode()
    return said.replace(str(folder), "DATA").replace(str(Path.home()), "HOME")


def _settings(folder: Path) -> dict[str, object]:
    try:
        workshop = read_workshop(folder)
    except AsleftError as error:
        return {"error": error.code.value}
    scheme = workshop.link.partition(":")[0]
    plain: dict[str, object] = {name: getattr(workshop, name) for name in _PLAIN}
    return plain | {"link": scheme}


def _jobs(folder: Path) -> dict[str, object]:
    """How many events of which kind each job has, in order of age, and by which codes work stopped."""
    found: list[dict[str, object]] = []
    for job in jobs_in(folder) if folder.is_dir() else ():
        try:
            events = [link.event for link in stored_events(folder, job)]
        except AsleftError as error:
            found.append({"error": error.code.value})
            continue
        kinds = Counter(type_of(event.body) for event in events)
        stops = [event.body.reason for event in events if isinstance(event.body, b.JobStopped)]
        found.append({"events": dict(kinds), "stopped by": [s for s in stops if s.replace("-", "").isalpha()]})
    return {"made": datetime.now(UTC).isoformat(timespec="seconds"), "jobs": found}
