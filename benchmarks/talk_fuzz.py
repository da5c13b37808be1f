"""A long attack of hostile frames on conversations, for the soak: resumable by its first seed.

Run: .venv/bin/python benchmarks/talk_fuzz.py [--frames 1000000] [--first-seed 0]
Prints a line for every ten thousand frames; ends with the counts of how requests ended.
"""

from __future__ import annotations

import argparse
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
    options = parser.parse_args()
    found: Counter[str] = Counter()
    rounds = -(-options.frames // _AT_ONCE)
    for seed in range(options.first_seed, options.first_seed + rounds):
        found.update(attack(_AT_ONCE, seed))
        print(f"seed {seed}: {_AT_ONCE} frames, {sum(found.values())} requests ended so far", flush=True)
    for kind, count in found.most_common():
        print(f"{kind}: {count}")


if __name__ == "__main__":
    main()
