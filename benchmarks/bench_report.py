"""How long a report takes, against its limit of 2 s: ``python benchmarks/bench_report.py RECORD``.

RECORD is a record.zip, as ``asleft demo --unattended`` writes it. Every turn runs in a process of its own, because the
typesetter keeps what it has set. Prints the median and the slowest turn, and the processor time beside it, which a busy
machine does not change.
"""

from __future__ import annotations

import statistics
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
LIMIT_S = 2.0
TURNS = 7

_ONE = """
import sys, time
from pathlib import Path
sys.path.insert(0, sys.argv[2])
from make_report_picture import read_record
from asleft.event.envelope import event_hash
stored, events = read_record(Path(sys.argv[1]))
begin, busy = time.perf_counter(), time.process_time()
from asleft.report.typeset import typeset
typeset(events, event_hash(stored.splitlines()[-1]), generated=events[-1].wall, record=stored)
print(time.perf_counter() - begin, time.process_time() - busy, len(events))
"""


def main(arguments: list[str]) -> int:
    """Measure and print; 1 when the median is over the limit, 2 without a record."""
    if len(arguments) != 1:
        print(__doc__, file=sys.stderr)
        return 2
    command = [sys.executable, "-c", _ONE, arguments[0], str(ROOT / "scripts")]
    turns = [subprocess.check_output(command, text=True).split() for _ in range(TURNS)]
    elapsed = [float(turn[0]) for turn in turns]
    median, busy = statistics.median(elapsed), statistics.median(float(turn[1]) for turn in turns)
    print(f"report of {turns[0][2]} events: median {median:.2f} s, slowest {max(elapsed):.2f} s, of {TURNS} turns")
    print(f"limit {LIMIT_S:.1f} s: {median / LIMIT_S:.2f} of it; processor time {busy:.2f} s")
    return 0 if median <= LIMIT_S else 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
