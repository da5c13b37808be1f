"""Whole jobs out and in, a file each: signed record, documents it names, report (see ``docs/store.md``)."""

from __future__ import annotations

import hashlib
import re
import tempfile
from pathlib import Path

import msgspec

from asleft.event.body import DocumentAttached, PictureExtended
from asleft.model.errors import Code, RecordError
from asleft.record.files import put_file
from asleft.record.plainzip import RefusedError, Shape, packed, unpacked
from asleft.record.tail import stored_events
from asleft.record.taking_in import TakenIn, take_in
from asleft.record.verify import verify

from .attaching import FOLDER as DOCUMENTS
from .papers import record_path, stored_report
from .records import export

FORMAT = "asleft-job-v1"
ABOUT, RECORD, REPORT = "about.json", "record.zip", "report.pdf"
_SHAPE = Shape(
    limits={ABOUT: 1 << 16, RECORD: 1 << 31, REPORT: 1 << 26},
    more=re.compile("documents/[0-9a-f]{64}"),
    more_limit=1 << 24,
    more_count=1 << 12,
    total=(1 << 31) + (1 << 30),
)


class About(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """What a job's file holds. ``missing``: documents that the record names and that were not at hand."""

    format: str
    job: str
    head: str
    documents: tuple[str, ...]
    missing: tuple[str, ...]


def job_out(folder: Path, job: str, target: Path, *, redacted: bool = False, report: bool = True) -> About:
    """Write a job into one file.

    Args: redacted: without personal texts; then also without report and documents, which may hold them.
    Raises: RecordError: job-unknown, record-damaged, journal-unwritable.
    """
    with tempfile.TemporaryDirectory(prefix="asleft-out-") as scratch:
        place = Path(scratch) / RECORD
        signed = record_path(folder, job)
        if not redacted and signed.is_file() and verify(signed).head == _head(folder, job):
            place = signed  # as it was signed, perhaps by the workshop it came from
        else:
            export(folder, job, place, redacted=redacted)
        record = place.read_bytes()
        head = verify(place).head
    named = _documents(folder, job)
    kept = {} if redacted else {name: (folder / DOCUMENTS / name) for name in named}
    there = {name: path.read_bytes() for name, path in kept.items() if path.is_file()}
    about = About(FORMAT, job, head, tuple(sorted(there)), tuple(sorted(set(named) - there.keys())))
    members = {ABOUT: msgspec.json.format(msgspec.json.encode(about), indent=1), RECORD: record}
    if report and not redacted:
        members[REPORT] = stored_report(folder, job)
    members |= {f"documents/{name}": there[name] for name in sorted(there)}
    try:
        put_file(target, packed(members), 0o600)
    except OSError as error:
        raise RecordError(Code.JOURNAL_UNWRITABLE, str(error.strerror), str(target)) from error
    return about


def job_in(folder: Path, parcel: Path) -> TakenIn:
    """Take a closed job from such a file into a data folder, with its documents; harmless a second time.

    Raises: RecordError: record-damaged (nothing was taken), job-exists, job-in-use, journal-unwritable.
    """
    members = _members(parcel)
    with tempfile.TemporaryDirectory(prefix="asleft-in-") as scratch:
        record = Path(scratch) / RECORD
        record.write_bytes(members[RECORD])
        taken = take_in(folder, record)
    try:
        for name, content in members.items():
            if name.startswith("documents/"):
                (folder / DOCUMENTS).mkdir(parents=True, exist_ok=True)
                put_file(folder / DOCUMENTS / name.removeprefix("documents/"), content, 0o600, only_new=True)
        signed = record_path(folder, taken.job)
        signed.parent.mkdir(parents=True, exist_ok=True)
        put_file(signed, members[RECORD], 0o644, only_new=True)
    except OSError as error:
        raise RecordError(Code.JOURNAL_UNWRITABLE, str(error.strerror), str(folder)) from error
    return taken


def _members(parcel: Path) -> dict[str, bytes]:
    try:
        members, refused = unpacked(parcel, _SHAPE)
        about = msgspec.json.decode(members.get(ABOUT, b""), type=About)
    except RefusedError as error:
        raise RecordError(Code.RECORD_DAMAGED, error.refused.text, str(parcel)) from error
    except msgspec.MsgspecError as error:
        raise RecordError(Code.RECORD_DAMAGED, f"{ABOUT}: {error}", str(parcel)) from error
    except OSError as error:
        raise RecordError(Code.RECORD_DAMAGED, str(error.strerror), str(parcel)) from error
    if refused is not None:
        raise RecordError(Code.RECORD_DAMAGED, refused.text, str(parcel))
    if about.format != FORMAT or RECORD not in members:
        raise RecordError(Code.RECORD_DAMAGED, f"no {FORMAT} with a {RECORD}", str(parcel))
    for name, content in members.items():
        if name.startswith("documents/") and hashlib.sha256(content).hexdigest() != name.removeprefix("documents/"):
            raise RecordError(Code.RECORD_DAMAGED, f"{name} has another content than its name", str(parcel))
    return members


def _documents(folder: Path, job: str) -> tuple[str, ...]:
    """Documents that a job's record names, by SHA-256."""
    events = stored_events(folder, job)
    if not events:
        raise RecordError(Code.JOB_UNKNOWN, job, str(folder))
    bodies = [link.event.body for link in events]
    named = [body.sha256 for body in bodies if isinstance(body, DocumentAttached | PictureExtended)]
    return tuple(sorted(set(named) - {""}))


def _head(folder: Path, job: str) -> str:
    events = stored_events(folder, job)
    return events[-1].hash if events else ""
