"""How fast the journal is, beside bare writes on the same disk in the same run.

Run: .venv/bin/python benchmarks/bench_record.py [--json] [--folder DIR]
Limits: an append at most 4 times a bare write and fsync of the same bytes and 1.5 times a bare SQLite commit of them;
100,000 events folded in under 1 s; a record of 100 MB verified in under 3 s.
"""

from __future__ import annotations

import argparse
import json
import os
import statistics
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import apsw

from asleft.event.body import ModuleTold, Noted, RunStarted
from asleft.event.envelope import FORMAT, NO_PREVIOUS, Event
from asleft.event.fold import fold
from asleft.model.message import Message
from asleft.model.module import ModuleState
from asleft.model.origin import ClockKind, Origin, WallTrust
from asleft.record.export import export_record
from asleft.record.journal import JobJournal, open_journal
from asleft.record.keys import SigningKey
from asleft.record.verify import verify

ROUNDS = 300
TEXT = Message("bench.note", "step 4 of the lower-stop learn: waiting, {seconds} s", {"seconds": "12.5"})


class Ticks:
    """A clock that ticks with every look, so that only the journal is timed."""

    kind = ClockKind.VIRTUAL

    def __init__(self) -> None:
        self.count = 0

    def now(self) -> float:
        self.count += 1
        return self.count / 1000

    def wall(self) -> tuple[str, WallTrust]:
        return "2031-04-17T08:00:00.000Z", WallTrust.SIMULATED


def middle(work: Callable[[], object], rounds: int = ROUNDS) -> float:
    """Median time of one call, s."""
    times: list[float] = []
    for _ in range(rounds):
        begin = time.perf_counter()
        work()
        times.append(time.perf_counter() - begin)
    return statistics.median(times)


def appends(folder: Path, journal: JobJournal) -> dict[str, float]:
    """One append beside the bare ways of making the same bytes durable; interleaved, so that the disk is the same."""
    journal.append(Noted(TEXT))
    stored = journal.stored()[-1]
    bare = os.open(folder / "bare", os.O_WRONLY | os.O_CREAT | os.O_APPEND)
    database = apsw.Connection(str(folder / "bare.db"))
    table = "CREATE TABLE t (n INTEGER PRIMARY KEY, b BLOB)"
    for statement in ("PRAGMA journal_mode = wal", "PRAGMA synchronous = FULL", table):
        database.execute(statement).fetchall()

    def write() -> None:
        os.write(bare, stored)
        os.fsync(bare)

    def commit() -> None:
        database.execute("BEGIN IMMEDIATE")
        database.execute("INSERT INTO t (b) VALUES (?)", (stored,))
        database.execute("COMMIT")

    ways: dict[str, Callable[[], object]] = {
        "append": lambda: journal.append(Noted(TEXT)), "write_fsync": write, "sqlite_commit": commit}  # fmt: skip
    times: dict[str, list[float]] = {name: [] for name in ways}
    for _ in range(ROUNDS):
        for name, way in ways.items():
            times[name].append(middle(way, 1))
    os.close(bare)
    database.close()
    return {f"{name}_us": statistics.median(values) * 1e6 for name, values in times.items()}


def folding(count: int) -> tuple[float, float]:
    """Time to fold ``count`` events, and processor time of it, s."""
    body = ModuleTold("r1", "engine", ModuleState.MOVING, TEXT)
    started = RunStarted("r1", "throttle-stop-learn", "p", "learn", "by wire", "", "")
    events = [
        Event(FORMAT, "J", n, "asleft", "2031-04-17T08:00:00.000Z", WallTrust.SIMULATED, n / 10, ClockKind.VIRTUAL,
              Origin.BENCH, NO_PREVIOUS, started if n == 1 else Noted(TEXT) if n % 100 == 0 else body)
        for n in range(1, count + 1)
    ]  # fmt: skip
    begin, busy = time.perf_counter(), time.process_time()
    fold(events)
    return time.perf_counter() - begin, time.process_time() - busy


def verifying(folder: Path, key: SigningKey, megabytes: int) -> tuple[float, float, float]:
    """Time to verify a record of about ``megabytes``, processor time of it, s, and its true size, MB."""
    journals = open_journal(folder / "large")
    journal = journals.create("LARGE", source=None, clock=Ticks())  # type: ignore[arg-type]
    long = Message("bench.long", "x" * 8000 + " {n}", {"n": "1,5"})
    journals._database.setting("synchronous", "OFF")  # only to make the record quickly
    for _ in range(megabytes * 1_000_000 // 8400):
        journal.append(Noted(long))
    export_record(journal, key, folder / "large.zip")
    begin, busy = time.perf_counter(), time.process_time()
    result = verify(folder / "large.zip")
    took, busy = time.perf_counter() - begin, time.process_time() - busy
    if not result.intact:
        raise SystemExit("the record made for timing does not verify")
    return took, busy, (folder / "large.zip").stat().st_size / 1e6


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--json", action="store_true")
    parser.add_argument("--folder", type=Path, default=None, help="on the disk to be measured")
    options = parser.parse_args()
    with tempfile.TemporaryDirectory(dir=options.folder) as name:
        folder = Path(name)
        key = SigningKey.load_or_make(folder)
        with open_journal(folder / "small", key=key) as journals:
            journal = journals.create("J", source=None, clock=Ticks())  # type: ignore[arg-type]
            found = appends(folder, journal)
        found["append_to_write_fsync"] = found["append_us"] / found["write_fsync_us"]
        found["append_to_sqlite_commit"] = found["append_us"] / found["sqlite_commit_us"]
        found["fold_100000_s"], found["fold_100000_processor_s"] = folding(100_000)
        found["verify_s"], found["verify_processor_s"], found["verify_mb"] = verifying(folder, key, 100)
    print(json.dumps(found) if options.json else "\n".join(f"{name:26} {value:10.3f}" for name, value in found.items()))


if __name__ == "__main__":
    main()
