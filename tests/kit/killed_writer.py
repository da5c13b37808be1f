"""A program of its own that writes jobs and is killed (SIGKILL) at a chosen file operation.

``python killed_writer.py FOLDER NAME…``: for each NAME, which begins with a number, a child process writes the job into
FOLDER/NAME and kills itself just before its so many-th write, sync, truncation or deletion. What it was told to be
durable stands in FOLDER/NAME/told, one line for every event and receipt.
"""

from __future__ import annotations

import os
import signal
import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from asleft.record.journal import JobJournal, open_journal
from kit.power_loss import LoggedDisk, Op
from kit.record_kit import JOB, HandClock, Source, intent, note

EVENTS = 6


def write_job(journal: JobJournal, tell: object) -> None:
    """Events of several sizes, every third an intent with its receipt used."""
    say = tell if callable(tell) else print
    for number in range(1, EVENTS + 1):
        if number % 3 == 0:
            receipt = journal.intend(intent(f"i{number}"))
            say(f"event {number}")
            journal.redeem(receipt)
            say(f"sent i{number}")
        else:
            journal.append(note("x" * (1 + 3000 * (number % 2))))
            say(f"event {number}")


def _child(folder: Path, count: int) -> None:
    left = count

    def on_op(op: Op) -> None:
        nonlocal left
        if op.file.endswith(".lease"):
            return
        left -= 1
        if left == 0:
            os.kill(os.getpid(), signal.SIGKILL)

    folder.mkdir(parents=True)
    told = os.open(folder / "told", os.O_WRONLY | os.O_CREAT | os.O_APPEND)
    disk = LoggedDisk("killed", on_op)
    with open_journal(folder, vfs="killed") as journals:
        journal = journals.create(JOB, source=Source(), clock=HandClock())  # pyright: ignore[reportArgumentType]
        os.write(told, b"created\n")
        write_job(journal, lambda text: os.write(told, f"{text}\n".encode()))
    del disk


def main(folder: Path, names: list[str]) -> None:
    for name in names:
        child = os.fork()
        if child == 0:
            _child(folder / name, int(name.split("-")[0]))
            os._exit(0)
        _, status = os.waitpid(child, 0)
        print(name, "killed" if os.WIFSIGNALED(status) else f"ended {os.WEXITSTATUS(status)}")


if __name__ == "__main__":
    main(Path(sys.argv[1]), sys.argv[2:])
