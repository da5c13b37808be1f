"""How the golden records of format v1 were made. They are kept, never made again: what was written must stay readable.

``python tests/kit/golden.py FOLDER`` makes another set, with other keys, and says what each holds (``expected.json``).
"""

from __future__ import annotations

import json
import sys
import tempfile
import zipfile
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

import msgspec
import rfc8785

from asleft.event.body import ControlMoved, JobClosed, SamplesPart, SamplesTaken
from asleft.event.envelope import event_hash
from asleft.model.control import ControlHow
from asleft.model.message import Message
from asleft.model.reading import Series
from asleft.record.export import export_record, record_members
from asleft.record.journal import open_journal
from asleft.record.keys import SigningKey, revoke, rotate
from asleft.record.plainzip import packed
from asleft.record.storing import chunk_bytes, chunk_hash
from asleft.record.verify import verify
from kit.damage import good_record
from kit.record_kit import JOB, HandClock, Source, note, opened, small_job

SAID = ("job", "origin", "events", "head", "key", "closed", "chunks", "withheld")
V0 = Path(__file__).resolve().parents[1] / "vectors" / "records" / "v0"


def folder() -> Path:
    return Path(tempfile.mkdtemp())


def make(out: Path) -> None:
    """All of them."""
    out.mkdir(parents=True, exist_ok=True)
    (out / "rotated-with-chunks.zip").write_bytes(packed(good_record(folder())))
    plain(out)
    streamed(out / "streamed.zip", ended=True)
    streamed(out / "streamed-and-cut.zip", ended=False)
    revoked(out / "revoked-later.zip")
    strange(out / "newer-types.zip")
    begun_before(out / "begun-in-v0.zip")
    (out / "expected.json").write_text(json.dumps(expected(out), indent=1, sort_keys=True) + "\n")


def expected(out: Path) -> dict[str, object]:
    """What each says of itself."""
    said: dict[str, object] = {}
    for path in sorted(out.glob("*.zip")):
        result = verify(path)
        fields = msgspec.to_builtins(result)
        notes = sorted(n["id"] for n in fields["notes"])
        kept = {name: fields[name] for name in SAID}
        said[path.stem] = {**kept, "intact": result.intact, "notes": notes}
    return said


def plain(out: Path) -> None:
    """Small ones: whole, redacted, corrected after closing, still open."""
    place = folder()
    key = SigningKey.load_or_make(place)
    with open_journal(place, key=key) as journals:
        with small_job(journals) as journal:
            export_record(journal, key, out / "small.zip")
            export_record(journal, key, out / "redacted.zip", redacted=True)
            journal.correct(2, Message("right", "it was bank {n}", {"n": "1"}), by="R. Okafor", reason="typed wrongly")
            export_record(journal, key, out / "corrected.zip")
        with small_job(journals, "GSM-2031-0418", close=False) as journal:
            export_record(journal, key, out / "open.zip")


def streamed(path: Path, *, ended: bool) -> None:
    """Samples written down while a recording ran, and control of the car that moved."""
    place = folder()
    key = SigningKey.load_or_make(place)
    times, values = tuple(n / 10 for n in range(2600)), tuple(650.0 + n % 7 / 4 for n in range(2600))
    with open_journal(place, key=key) as journals, journals.create(JOB, source=Source(), clock=HandClock()) as journal:
        journal.append(opened())
        journal.append(ControlMoved("R. Okafor", "tablet 1", ControlHow.TAKEN))
        for part, (start, stop) in enumerate(((0, 100), (100, 2400)), 1):
            series = Series("engine-speed", "rpm", times[start:stop], values[start:stop], 0.25)
            journal.append(SamplesPart("r1", "idle", part, (series,)))
        if ended:
            silent = Series("coolant-temperature", "°C", (), (), 1.0, gaps=3)
            journal.append(SamplesTaken("r1", "idle", (Series("engine-speed", "rpm", times, values, 0.25), silent)))
        journal.append(ControlMoved("A. Novak", "tablet 2", ControlHow.HANDED_OVER, "R. Okafor", "tablet 1"))
        journal.append(JobClosed(Message("end", "left as shown", {}), "A. Novak", ended))
        export_record(journal, key, path)


def revoked(path: Path) -> None:
    """Sealed by a key that was revoked from a later time on."""
    place = folder()
    key = SigningKey.load_or_make(place)
    with open_journal(place, key=key) as journals, small_job(journals) as journal:
        new = rotate(place, wall="2031-05-02T08:00:00.000Z", reason="stolen")
        about = {"wall": "2031-05-02T08:01:00.000Z", "since": "2031-05-01T00:00:00.000Z", "reason": "laptop stolen"}
        revoke(place, key.signer.public, **about)
        export_record(journal, SigningKey.load_or_make(place), path)
    assert new.fingerprint != key.fingerprint


def chained(stored: list[bytes], *changes: dict[str, object]) -> list[bytes]:
    """More events behind these; each is the last one with changes."""
    for change in changes:
        last = msgspec.json.decode(stored[-1])
        after = {**last, "sequence": last["sequence"] + 1, "previous": event_hash(stored[-1]), **change}
        stored = [*stored, rfc8785.dumps(after)]
    return stored


def strange(path: Path) -> None:
    """A type that no program knows yet, with a personal text and chunks deep in it."""
    place = folder()
    key = SigningKey.load_or_make(place)
    with open_journal(place) as journals, small_job(journals, close=False) as journal:
        stored = list(journal.stored())
    chunk = chunk_bytes([0.0, 0.5], [1.0, 12.5])
    bolts = [{"torque_n_m": 12.5, "curve": {"chunks": [chunk_hash(chunk)]}}]
    body = {"type": "bolt-torqued@3", "bolts": bolts, "by": "personal:" + "ab" * 32}
    members = record_members(chained(stored, {"body": body}), key)
    path.write_bytes(packed({**members, f"chunks/{chunk_hash(chunk)}": chunk}))


def begun_before(path: Path) -> None:
    """Begun by a program of version 0, gone on with by one of version 1."""
    with zipfile.ZipFile(V0 / "open.zip") as archive:
        stored = archive.read("events.jsonl").splitlines()
        personal = archive.read("personal.jsonl")
    body = msgspec.to_builtins(note("went on in version 1"))
    lines = chained(stored, {"format": "asleft-record-v1", "body": body})
    members = record_members(lines, SigningKey.load_or_make(folder()))
    path.write_bytes(packed({**members, "personal.jsonl": personal}))


if __name__ == "__main__":
    make(Path(sys.argv[1]))
