"""The unattended demo's papers, played once for all workers of a test run."""

from __future__ import annotations

import contextlib
import io
import os
from pathlib import Path

import pytest

from asleft.cli import run as run_command


def played_once(factory: pytest.TempPathFactory) -> Path:
    """A folder with ``record.zip``, ``key.pem``, ``report.pdf``; whoever comes second waits for the first."""
    import fcntl

    root = factory.getbasetemp()
    root = root.parent if "PYTEST_XDIST_WORKER" in os.environ else root
    folder, done = root / "demo-papers", root / "demo-papers.done"
    with (root / "demo-papers.lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        if not done.exists():
            said = io.StringIO()
            with contextlib.redirect_stdout(said), contextlib.redirect_stderr(said):
                given = run_command(["demo", "--unattended", "--seed", "1", "--out", str(folder)])
            assert given == 0, said.getvalue()
            done.touch()
    return folder
