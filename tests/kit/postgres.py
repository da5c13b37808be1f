"""A PostgreSQL server of its own for tests: in a temporary folder, on a Unix socket, never as root."""

from __future__ import annotations

import os
import shutil
import subprocess
import tempfile
from collections.abc import Generator
from contextlib import contextmanager
from pathlib import Path

import psycopg


def programs() -> Path | None:
    """The folder of PostgreSQL's programs, the newest; None: it is not installed."""
    if found := shutil.which("initdb"):
        return Path(found).parent
    folders = [p.parent for p in Path("/usr/lib/postgresql").glob("*/bin/initdb")]
    return max(folders, key=lambda p: int(p.parent.name) if p.parent.name.isdigit() else 0) if folders else None


class Server:
    """A running server. ``new()`` makes an empty data base and gives its address."""

    def __init__(self, socket: Path) -> None:
        self._socket, self._count = socket, 0

    def named(self, name: str) -> str:
        """The address of a data base with this name; made when it is not there."""
        with psycopg.connect(host=str(self._socket), user="tester", dbname="postgres", autocommit=True) as connection:
            if not connection.execute("SELECT 1 FROM pg_database WHERE datname = %s", (name,)).fetchone():
                connection.execute(f"CREATE DATABASE {name} STRATEGY wal_log".encode())
        return f"postgresql+psycopg://tester@/{name}?host={self._socket}"

    def new(self) -> str:
        self._count += 1
        name = f"store{self._count}"
        with psycopg.connect(host=str(self._socket), user="tester", dbname="postgres", autocommit=True) as connection:
            connection.execute(f"CREATE DATABASE {name} STRATEGY wal_log".encode())
        return f"postgresql+psycopg://tester@/{name}?host={self._socket}"


@contextmanager
def server(bin_folder: Path, kept: Path | None = None) -> Generator[Server]:
    """Start a server, stop it at the end. Its rows need not outlive the tests, so nothing is synced.

    Args: kept: folder that stays, so that the next call finds the rows; else one that is thrown away.
    """
    root = kept or Path(tempfile.mkdtemp(prefix="asleft-pg-", dir="/tmp"))
    root.mkdir(parents=True, exist_ok=True)
    user = _user()
    if user:
        shutil.chown(root, user)
    data = root / "data"
    try:
        initdb = [
            bin_folder / "initdb",
            "-D",
            data,
            "-U",
            "tester",
            "-A",
            "trust",
            "-E",
            "UTF8",
            "--locale=C.UTF-8",
            "-N",
        ]
        if not data.exists():
            _as(user, initdb)
        settings = f"-c listen_addresses='' -c unix_socket_directories='{root}' -c fsync=off -c full_page_writes=off"
        control = [bin_folder / "pg_ctl", "-D", data, "-s", "-w"]
        _as(user, [*control, "-l", root / "log", "-o", settings, "start"])
        try:
            yield Server(root)
        finally:
            _as(user, [*control, "-m", "fast" if kept else "immediate", "stop"])
    finally:
        if not kept:
            shutil.rmtree(root, ignore_errors=True)


def _user() -> str:
    """Whom to be instead of root; empty: whoever we are."""
    if os.geteuid() != 0:
        return ""
    names = [line.split(":")[0] for line in Path("/etc/passwd").read_text().splitlines()]
    return next(name for name in ("postgres", "nobody") if name in names)


def _as(user: str, command: list[str | Path]) -> None:
    before = ["setpriv", f"--reuid={user}", f"--regid={_group(user)}", "--clear-groups"] if user else []
    # the server keeps what it is started with: its output goes nowhere, its complaints into a file
    with tempfile.TemporaryFile("w+") as said:
        done = subprocess.run(
            [*before, *map(str, command)], cwd="/tmp", stdout=subprocess.DEVNULL, stderr=said, timeout=60, check=False
        )
        said.seek(0)
        complaint = said.read()
    if done.returncode:
        raise RuntimeError(f"{command[0]}: {complaint}")


def _group(user: str) -> str:
    line = next(line for line in Path("/etc/passwd").read_text().splitlines() if line.startswith(f"{user}:"))
    return line.split(":")[3]
