"""The store at size: search and open at the 95th percentile, beside plain SQL of the same data base in one run.

    .venv/bin/python benchmarks/store_speed.py                       # 100,000 jobs in SQLite, 1,000,000 in PostgreSQL
    .venv/bin/python benchmarks/store_speed.py --sqlite 5000 --postgres 5000
    .venv/bin/python benchmarks/store_speed.py --folder /var/tmp/asleft-store --minutes 60    # goes on where it was

Rows are made like those of a real job (one digest with other numbers, words and times), a batch a transaction. Limits:
search 50 ms, open 100 ms at the 95th percentile. Plain SQL is what a person would write for the same answer with the
driver alone; for a search that is one join of the same tables.
"""

from __future__ import annotations

import argparse
import random
import sys
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from datetime import UTC, datetime, timedelta
from itertools import islice
from pathlib import Path
from typing import Any

import msgspec
import numpy as np
from sqlalchemy import Connection, Engine, Float, Integer, Table, func, insert, select, text

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "tests"))

from asleft.record.store.digest import Digest, Row, digest_of
from asleft.record.store.opening import open_store
from asleft.record.store.reading import job_of
from asleft.record.store.searching import Asked, search
from asleft.record.store.tables import JOB, PARTS, TERM
from kit.events import demo_job, fictional_vin
from kit.postgres import programs, server

BATCH = 2000
WORDS = [f"w{n:04d}" for n in range(3000)]
_STATIC = ("word", "procedure", "person", "code")


def rows_of(number: int, chance: random.Random, pattern: Digest) -> tuple[Row, list[Row]]:
    """One invented job: its own car, plate, words and time; all else as in the pattern (see `multiply`)."""
    opened = (datetime(2020, 1, 1, tzinfo=UTC) + timedelta(minutes=3 * number)).strftime("%Y-%m-%dT%H:%M:%S.000Z")
    vin, plate = fictional_vin(f"16S{number % 400_000:06d}"), f"GS {number % 300_000}"
    words = [WORDS[min(int(chance.paretovariate(0.6)) - 1, 2999)] for _ in range(6)]
    job = {**pattern.job, "id": number + 1, "source": "bench", "number": f"J-{number}", "mark": "", "head": "0" * 64,
           "vin": vin, "plate": plate, "opened": opened, "work": " ".join(words)}  # fmt: skip
    short = plate.lower().replace(" ", "")
    own = {("vin", vin.lower()), ("vin", vin[-8:].lower()), ("number", f"j{number}"), ("plate", short)}
    own |= {("word", word) for word in words} | {("module", f"ald{number % 5000}"), ("code", f"p{number % 900:04d}")}
    own |= {("word", f"j{number}"), ("word", vin[-8:].lower()), ("word", short)}
    return job, [{"kind": k, "value": v, "opened": opened, "job": number + 1} for k, v in sorted(own)]


def fill(engine: Engine, count: int, until: float) -> int:
    """Write jobs until there are so many or the time is over; goes on where it was. Returns how many there are.

    Without the indexes that are no keys while many are written; they are made at the end.
    """
    pattern = digest_of(demo_job())
    with engine.connect() as connection:
        there = int(connection.execute(select(func.max(JOB.c.id))).scalar() or 0)
    if there >= count:
        return there
    indexes = [index for table in (JOB, *PARTS) for index in sorted(table.indexes, key=lambda i: str(i.name))]
    if count - there > 10 * BATCH:
        for index in indexes:
            index.drop(engine, checkfirst=True)
    while there < count and time.monotonic() < until:
        there = one_batch(engine, there, min(BATCH, count - there), pattern)
        if there % (10 * BATCH) == 0:
            print(f"  {there} jobs", flush=True)
    if there >= count:
        for index in indexes:
            index.create(engine, checkfirst=True)
        with engine.connect().execution_options(isolation_level="AUTOCOMMIT") as connection:
            connection.execute(text("VACUUM ANALYZE" if engine.dialect.name == "postgresql" else "ANALYZE"))
    return there


def one_batch(engine: Engine, there: int, most: int, pattern: Digest) -> int:
    """One transaction: the jobs and their own terms from here, what all jobs share by the data base itself."""
    made = [rows_of(n, random.Random(n), pattern) for n in range(there, there + most)]
    with engine.begin() as connection:
        put(connection, JOB, [job for job, _ in made])
        put(connection, TERM, [row for _, rows in made for row in rows])
        shared = [row for row in pattern.terms if row["kind"] in _STATIC]
        for table, rows in zip(PARTS, (shared, *pattern[2:]), strict=True):
            multiply(connection, table, rows, there, there + most)
    return there + most


def put(connection: Connection, table: Table, rows: list[Row]) -> None:
    """Rows as they are; on PostgreSQL by COPY, ten times as fast as statements."""
    if connection.dialect.name != "postgresql":
        connection.execute(insert(table), rows)
        return
    names = [c.name for c in table.columns]
    cursor = connection.connection.cursor()
    with cursor.copy(f"COPY {table.name} ({', '.join(names)}) FROM STDIN") as into:
        for row in rows:
            into.write_row([row.get(name) for name in names])


def multiply(connection: Connection, table: Table, rows: Sequence[Row], after: int, last: int) -> None:
    """The same rows for each job from ``after`` (without) to ``last``."""
    names = [c.name for c in table.columns if c.name not in ("job", "opened")]
    opened = ["opened"] if "opened" in table.columns else []
    pattern, columns = f"pattern_{table.name}", ", ".join(f"{n} {kind_of(table, n)}" for n in names)
    connection.execute(text(f"CREATE TEMPORARY TABLE IF NOT EXISTS {pattern} ({columns})"))
    if not connection.execute(text(f"SELECT 1 FROM {pattern} LIMIT 1")).first():
        values = ", ".join(f":{n}" for n in names)
        connection.execute(text(f"INSERT INTO {pattern} VALUES ({values})"), [{n: r[n] for n in names} for r in rows])
    into = ", ".join(("job", *opened, *names))
    chosen = ", ".join(("j.id", *(f"j.{n}" for n in opened), *(f"p.{n}" for n in names)))
    told = f"INSERT INTO {table.name} ({into}) SELECT {chosen} FROM job j, {pattern} p WHERE j.id > :a AND j.id <= :b"
    connection.execute(text(f"{told} ON CONFLICT DO NOTHING"), {"a": after, "b": last})


def kind_of(table: Table, name: str) -> str:
    """A column's type as both data bases write it."""
    kind = table.c[name].type
    return "DOUBLE PRECISION" if isinstance(kind, Float) else "INTEGER" if isinstance(kind, Integer) else "TEXT"


def questions(count: int, chance: random.Random) -> Iterator[Asked]:
    """What a workshop asks: mostly numbers, then words, common and rare, with and without dates."""
    while True:
        number = chance.randrange(count)
        yield Asked(vin=fictional_vin(f"16S{number % 400_000:06d}")[-8:])
        yield Asked(plate=f"GS {number % 300_000}")
        yield Asked(words=f"J-{number}")
        yield Asked(words="throttle")
        yield Asked(words=f"throttle {WORDS[chance.randrange(3000)]}")
        yield Asked(words=f"{WORDS[0]} {WORDS[chance.randrange(40)]}", since="2020-01", until="2024")
        yield Asked(code=f"P{number % 900:04d}", person="M. Okafor")
        yield Asked(module=f"ald {number % 5000}", origin="bench")
        yield Asked(words=f"{WORDS[number % 3000][:4]}*")
        yield Asked(since="2020-02", until="2020-02")


PLAIN = """SELECT j.* FROM job j JOIN term t ON t.job = j.id
WHERE t.kind = :kind AND t.value = :value ORDER BY t.opened DESC, t.job DESC LIMIT 21"""


def timed(calls: list[Callable[[], object]]) -> np.ndarray:
    """Milliseconds of each."""
    took = []
    for call in calls:
        began = time.perf_counter()
        call()
        took.append(1000.0 * (time.perf_counter() - began))
    return np.array(took)


def measure(engine: Engine, count: int, rounds: int) -> dict[str, Any]:
    """Percentiles of searching and opening through the store, and of plain SQL."""
    chance = random.Random(2)
    asked = list(islice(questions(count, chance), rounds))
    numbers = [f"J-{chance.randrange(count)}" for _ in range(rounds)]
    vins = [fictional_vin(f"16S{chance.randrange(count) % 400_000:06d}").lower() for _ in range(rounds)]

    def plain(kind: str, value: str) -> object:
        with engine.connect() as connection:
            return connection.execute(text(PLAIN), {"kind": kind, "value": value}).all()

    def plain_open(number: str) -> object:
        with engine.connect() as connection:
            job = connection.execute(
                text("SELECT * FROM job WHERE number = :n AND source = 'bench'"), {"n": number}
            ).one()
            return [
                connection.execute(text(f"SELECT * FROM {t.name} WHERE job = :j"), {"j": job.id}).all()
                for t in PARTS[1:]
            ]

    found = {
        "search": timed([lambda a=a: search(engine, a) for a in asked]),
        "search by VIN": timed([lambda v=v: search(engine, Asked(vin=v)) for v in vins]),
        "plain SQL, VIN": timed([lambda v=v: plain("vin", v) for v in vins]),
        "open": timed([lambda n=n: job_of(engine, n, "bench") for n in numbers]),
        "plain SQL, open": timed([lambda n=n: plain_open(n) for n in numbers]),
    }
    slow = sorted(zip(found["search"], asked, strict=True), key=lambda pair: -pair[0])[:3]
    told = {
        name: {"p50_ms": float(np.quantile(t, 0.5)), "p95_ms": float(np.quantile(t, 0.95))} for name, t in found.items()
    }
    told["slowest"] = [
        f"{ms:.1f} ms: { ({k: v for k, v in msgspec.structs.asdict(a).items() if v}) }" for ms, a in slow
    ]
    return told


def run(name: str, address: str, count: int, rounds: int, until: float) -> bool | None:
    """Fill and measure. Returns: whether the limits were held; None: the time was over before all jobs were written."""
    engine = open_store(address)
    began = time.perf_counter()
    there = fill(engine, count, until)
    print(f"{name}: {there} of {count} jobs; {time.perf_counter() - began:.0f} s of writing in this run", flush=True)
    told = measure(engine, count, rounds) if there >= count else {}
    engine.dispose()
    if not told:
        return None
    for what, value in told.items():
        if what != "slowest":
            print(f"  {what:18} p50 {value['p50_ms']:7.2f} ms   p95 {value['p95_ms']:7.2f} ms")
    print("  slowest:", *told["slowest"], sep="\n    ")
    return bool(told["search"]["p95_ms"] < 50.0 and told["open"]["p95_ms"] < 100.0)


def main() -> int:
    """0: limits held; 1: not; 3: not all jobs are written yet, run it again with the same folder."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--sqlite", type=int, default=100_000, help="jobs; 0: none")
    parser.add_argument("--postgres", type=int, default=1_000_000, help="jobs; 0: none")
    parser.add_argument("--rounds", type=int, default=1000, help="questions of each kind")
    parser.add_argument(
        "--folder", type=Path, help="keeps what was written, so that the next run goes on; outside here"
    )
    parser.add_argument("--minutes", type=float, default=600.0, help="stop writing after so many")
    said = parser.parse_args()
    until = time.monotonic() + 60.0 * said.minutes
    with tempfile.TemporaryDirectory(prefix="asleft-store-") as thrown:
        folder = said.folder.resolve() if said.folder else Path(thrown)
        if folder.is_relative_to(Path(__file__).resolve().parents[1]):
            parser.error("--folder: a place outside the project, gigabytes are written")
        folder.mkdir(parents=True, exist_ok=True)
        held = list(both(said, folder, until))
    if None in held:
        print("not all jobs are written yet: run it again with the same --folder")
        return 3
    print("limits held" if all(held) else "LIMITS NOT HELD: search 50 ms, open 100 ms at the 95th percentile")
    return 0 if all(held) else 1


def both(said: argparse.Namespace, folder: Path, until: float) -> Iterator[bool | None]:
    """SQLite, then PostgreSQL where it is installed."""
    if said.sqlite:
        yield run("SQLite", f"sqlite:///{folder}/history-{said.sqlite}.db", said.sqlite, said.rounds, until)
    place = programs()
    if said.postgres and place is None:
        print("PostgreSQL: not installed, not measured")
    elif said.postgres and place is not None:
        with server(place, folder / "pg") as running:
            yield run("PostgreSQL", running.named(f"jobs{said.postgres}"), said.postgres, said.rounds, until)


if __name__ == "__main__":
    sys.exit(main())
