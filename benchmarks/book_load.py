"""A book of 10,000 procedures: cold load and lint, warm start from the index, search; against the stated limits.

Run: python benchmarks/book_load.py [procedures] [processes]. Limits: cold 60 s, warm 1 s, search 50 ms, for 10,000.
The first search after a warm start is measured too: it has everything still to prepare.
"""

from __future__ import annotations

import os
import sys
import tempfile
import time
from pathlib import Path

from asleft.book.index import IndexedBook, open_book
from asleft.book.shelf import OWN_FOLDER
from asleft.book.yaml_events import fast_parser
from asleft.model.vin import Vin, VinCheck
from asleft.model.work import Vehicle

CAR = Vehicle(Vin("EZAL16DT0KG000001", VinCheck.NOT_REQUIRED), "Aldra", "1.1", 2012)
MAKES = ("Aldra", "Brevik", "Corvane", "Dunmere", "Estival")
WORDS = ("throttle", "aldra 1.6", "lower stop brevik 2012", "ENG-1620-2", "corvane thr")


def fill(folder: Path, count: int) -> None:
    text = (OWN_FOLDER / "throttle-stop-learn-aldra.yaml").read_text(encoding="utf-8")
    for n in range(count):
        mine = text.replace("learn-aldra\n", f"learn-{n}\n", 1).replace("make: Aldra", f"make: {MAKES[n % 5]}")
        (folder / f"p{n:05d}.yaml").write_text(mine.replace('model: "1.6"', f'model: "{n % 90}.{n % 7}"'), "utf-8")


def cpu_s() -> float:
    """Processor time of this process and those it waited for, s: what other work on the machine does not change."""
    now = os.times()
    return now.user + now.system + now.children_user + now.children_system


def search_s(book: IndexedBook, words: str, car: Vehicle | None) -> float:
    begin = time.perf_counter()
    found = book.search(words, car)
    took = time.perf_counter() - begin
    assert found, words
    return took


def main() -> None:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 10_000
    workers = int(sys.argv[2]) if len(sys.argv) > 2 else 2
    scale = count / 10_000
    print("parser:", "libyaml" if fast_parser() else "the one in Python")
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place) / "book"
        folder.mkdir()
        fill(folder, count)
        for name, limit in (("cold", 60.0 * scale), ("warm", 1.0 * scale)):
            begin, busy = time.perf_counter(), cpu_s()
            book = open_book(folder, Path(place) / "index", workers=workers)
            took = time.perf_counter() - begin
            busy = cpu_s() - busy
            share = took / limit
            print(f"{name}: {took:.2f} s for {len(book.headers)} ({busy:.1f} s of processor), {share:.0%} of the limit")
        first = search_s(book, "throttle aldra", None)
        worst = max(search_s(book, words, car) for words in WORDS for car in (None, CAR))
        for name, took in (("first search", first), (f"worst of {2 * len(WORDS)} searches", worst)):
            print(f"{name}: {took * 1e3:.1f} ms, {took / 0.05:.0%} of the limit")


if __name__ == "__main__":
    main()
