"""Shared settings of all tests: where outside data is, what a skip may not be in continuous integration."""

from __future__ import annotations

import os
import shutil
from collections.abc import Generator
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings

from kit.demo import played_once
from kit.postgres import Server, programs, server

REPO = Path(__file__).resolve().parents[1]

# In continuous integration the same examples every time: what is new there is the change. At a desk: new ones.
settings.register_profile(
    "asleft",
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow],
    print_blob=True,
    derandomize=bool(os.environ.get("ASLEFT_CI")),
)
settings.load_profile("asleft")


@pytest.fixture(scope="session")
def checks() -> Path:
    """Folder with check values and recordings from outside the project."""
    folder = Path(os.environ.get("ASLEFT_CHECKS", REPO.parent / "shared" / "checks"))
    if not folder.is_dir():
        pytest.skip(f"outside check data not found: {folder} (set ASLEFT_CHECKS)")
    return folder


@pytest.fixture(scope="session")
def chromium() -> str:
    """Path of the system's Chromium; its absence is a skip, in continuous integration a failure."""
    for name in ("chromium", "chromium-browser", "google-chrome"):
        if path := shutil.which(name):
            return path
    if os.environ.get("ASLEFT_CI"):
        pytest.fail("no Chromium, and a skipped browser test is a failure here")
    pytest.skip("no Chromium on this machine")


@pytest.fixture(scope="session")
def postgres() -> Generator[Server]:
    """A PostgreSQL server of its own; its absence is a skip, in continuous integration a failure."""
    folder = programs()
    if folder is None:
        if os.environ.get("ASLEFT_CI"):
            pytest.fail("no PostgreSQL, and a skipped database test is a failure here")
        pytest.skip("no PostgreSQL on this machine")
    with server(folder) as running:
        yield running


@pytest.fixture(scope="session")
def demo_papers(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Record, key and report of the unattended demo, by its command; played once, also for several workers."""
    return played_once(tmp_path_factory)
