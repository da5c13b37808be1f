"""Soaks of conversations: a million hostile frames, twenty thousand bad days, an hour's memory. See ``make soak``."""

from __future__ import annotations

import json
import subprocess
import sys
from collections import Counter
from pathlib import Path

import pytest

from kit.bad_day import bad_day
from kit.hostile import attack
from kit.soaked import once

pytestmark = [pytest.mark.soak, pytest.mark.timeout(1800)]

REPO = Path(__file__).resolve().parents[2]
PARTS = 20
FRAMES = 1_000_000
DAYS = 20_000
_AT_ONCE = 10_000


@pytest.mark.parametrize("part", range(PARTS))
def test_a_million_hostile_frames(part: int) -> None:
    """Fifty thousand a part: nothing but typed errors comes out, every request in its time."""
    rounds = FRAMES // PARTS // _AT_ONCE
    first = 1000 + part * rounds

    def work() -> dict[str, int]:
        found: Counter[str] = Counter()
        for seed in range(first, first + rounds):
            found.update(attack(_AT_ONCE, seed))
        return found

    found = once(f"talk-hostile-{part:02d}", work)
    assert sum(found.values()) > 100


@pytest.mark.parametrize("part", range(PARTS))
def test_twenty_thousand_bad_days(part: int) -> None:
    """A thousand a part, all faults in turn."""
    days = DAYS // PARTS
    first = 100_000 + part * days

    def work() -> dict[str, int]:
        ended: Counter[str] = Counter()
        for seed in range(first, first + days):
            ended.update(bad_day(seed))
        return ended

    ended = once(f"talk-bad-days-{part:02d}", work)
    assert sum(ended.values()) == days * 8


def test_memory_is_flat_over_an_hour_of_virtual_time() -> None:
    """The benchmark's figure: less than a twentieth more after an hour than after ten minutes."""

    def work() -> str:
        command = [sys.executable, "benchmarks/talk_speed.py", "--only", "memory", "--json"]
        done = subprocess.run(command, cwd=REPO, capture_output=True, text=True, check=True)
        (told,) = json.loads(done.stdout).values()
        return told

    assert float(once("talk-memory", work).split()[0]) < 1.05
