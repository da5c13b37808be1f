"""Render page 1 of a report to docs/pictures/report.png, from a record.

Usage: python scripts/make_report_picture.py RECORD [OUT.png]

RECORD is a record.zip or an events.jsonl. The issue time printed is that of the last event, so the picture changes only
when the record or the layout does. Needs pdftoppm (Debian: poppler-utils).
"""

from __future__ import annotations

import json
import shutil
import subprocess
import sys
import tempfile
import zipfile
from pathlib import Path

from asleft.event.envelope import Event, event_hash
from asleft.record.container import members_of
from asleft.record.export import CHUNKS, EVENTS, PERSONAL
from asleft.record.storing import from_stored
from asleft.report.typeset import typeset

OUT = Path(__file__).resolve().parents[1] / "docs" / "pictures" / "report.png"
DOTS_PER_INCH = 110


def read_record(record: Path) -> tuple[bytes, list[Event]]:
    """Bytes of events.jsonl and the events, whole: chunks and personal values of a record.zip put back."""
    members = members_of(record)[0] if zipfile.is_zipfile(record) else {EVENTS: record.read_bytes()}
    rows = [json.loads(line) for line in members.get(PERSONAL, b"").splitlines()]
    personal = {row["commitment"]: row["value"] for row in rows}
    stored = members[EVENTS]
    events = [from_stored(line, lambda name: members.get(CHUNKS + name), personal) for line in stored.splitlines()]
    return stored, events


def page_one(pdf: bytes, out: Path) -> None:
    """Page 1 of a PDF as a PNG file."""
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "report.pdf"
        file.write_bytes(pdf)
        size = ["-r", str(DOTS_PER_INCH)]
        command = ["pdftoppm", "-png", *size, "-singlefile", "-f", "1", str(file), str(out.with_suffix(""))]
        subprocess.run(command, check=True, capture_output=True)


def main(arguments: list[str]) -> int:
    """Write the picture; 2 when it cannot be made."""
    if not 1 <= len(arguments) <= 2:
        print(__doc__, file=sys.stderr)
        return 2
    if shutil.which("pdftoppm") is None:
        print("pdftoppm is not on this machine: install poppler-utils", file=sys.stderr)
        return 2
    stored, events = read_record(Path(arguments[0]))
    pdf = typeset(events, event_hash(stored.splitlines()[-1]), generated=events[-1].wall, record=stored)
    out = Path(arguments[1]) if arguments[1:] else OUT
    out.parent.mkdir(parents=True, exist_ok=True)
    page_one(pdf, out)
    print(f"{out}: page 1 of job {events[0].job}, {len(events)} events")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
