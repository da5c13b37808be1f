"""A program of its own that wants to write a job: ``python second_writer.py FOLDER JOB COUNT``."""

from __future__ import annotations

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from asleft.model.errors import RecordError
from asleft.record.journal import open_journal
from kit.record_kit import HandClock, Source, note


def main(folder: Path, job: str, count: int) -> None:
    try:
        with open_journal(folder) as journals:
            begin = journals.reopen if job in journals.list_jobs() else journals.create
            journal = begin(job, source=Source(), clock=HandClock())
            print("ready", flush=True)
            sys.stdin.readline()
            for number in range(count):
                journal.append(note(f"{job} {number}"))
            print(f"wrote {count}", flush=True)
            sys.stdin.readline()
    except RecordError as error:
        print(error.code.value, flush=True)


if __name__ == "__main__":
    main(Path(sys.argv[1]), sys.argv[2], int(sys.argv[3]))
