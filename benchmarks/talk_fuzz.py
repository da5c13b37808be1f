"""A long attack of hostile frames on conversations; broken off, it goes on where it was when a state file is named.

Run: .venv/bin/python benchmarks/talk_fuzz.py [--frames 1000000] [--first-seed 0] [--state FILE]
Prints a line for every ten thousand frames; ends with the counts of how requests ended. ``make soak`` runs the same
attack by tests/soak/test_talk_soak.py.
"""

from __future__ import annotations

import argparse
import json
import sys
from collections import Counter
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "tests"))

from kit.hostile import attack

_AT_ONCE = 10_000


def main() -> None:
    """Attack and count."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--frames", type=int, default=1_000_000)
    parser.add_argument("--first-seed", type=int, default=0)
    parser.add_argument("--state", type=Path, help="file that keeps how far it got")
    options = parser.parse_args()
    last = options.first_seed + -(-options.frames // _AT_ONCE)
    seed, found = _begin(options.state, options.first_seed)
    for number in range(seed, last):
        found.update(attack(_AT_ONCE, number))
        print(f"seed {number}: {_AT_ONCE} frames, {sum(found.values())} requests ended so far", flush=True)
        if options.state is not None:
            options.state.write_text(json.dumps({"next": number + 1, "found": found}), encoding="ascii")
    for kind, count in found.most_common():
        print(f"{kind}: {count}")


def _begin(state: Path | None, first: int) -> tuple[int, Counter[str]]:
    """The next seed and what was found before it."""
    if state is None or not state.is_file():
        return first, Counter()
    kept = json.loads(state.read_text(encoding="ascii"))
    return int(kept["next"]), Counter(kept["found"])


if __name__ == "__main__":
    main()
