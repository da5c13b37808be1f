"""What a procedure usually takes in this shop: from its history, and never a reason for a run to wait or to fail."""

from __future__ import annotations

import asyncio
from pathlib import Path

import pytest

from asleft.job.usual import usual_from
from kit.events import demo_job
from kit.gallery import bodies, store

PROCEDURE = "throttle-stop-learn-by-routine"


def ask(folder: Path, origin: str = "bench") -> float | None:
    return asyncio.run(_ask(folder, origin))


async def _ask(folder: Path, origin: str) -> float | None:
    return await usual_from(folder)(PROCEDURE, origin)


def test_five_completed_runs_of_the_same_origin_say_how_long_it_takes(tmp_path: Path) -> None:
    for number in range(4):
        store(tmp_path, f"J-{number}", bodies(demo_job()))
    assert ask(tmp_path) is None, "too few"
    store(tmp_path, "J-5", bodies(demo_job()))
    usual = ask(tmp_path)
    assert usual is not None
    assert usual > 0.0
    assert ask(tmp_path, "vehicle") is None, "bench and cars are never mixed"


def test_no_history_or_a_broken_one_says_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    assert ask(tmp_path / "nowhere") is None
    (tmp_path / "history.db").write_bytes(b"no database at all" * 100)
    assert ask(tmp_path) is None
    monkeypatch.setenv("ASLEFT_HISTORY", "mysql://nowhere/x")
    assert ask(tmp_path) is None
