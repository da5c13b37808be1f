"""Opening a store: address, tables brought to the present layout, a checked copy before they change.

The default is a file beside the journals. PostgreSQL is given as ``postgresql+psycopg://name@host/database``; a
password comes from the environment or ``~/.pgpass``, as its driver reads them, not from an address in a file.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Generator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from alembic import command
from alembic.config import Config
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import Engine, create_engine, event, make_url
from sqlalchemy.exc import ArgumentError, SQLAlchemyError

from asleft.model.errors import Code, InputError, RecordError

FILE = "history.db"
_BUSY_S = 10.0


def address_of(folder: Path, said: str = "") -> str:
    """The store's address: as said, else a file in the data folder."""
    return said or f"sqlite:///{(folder / FILE).absolute()}"


def open_store(address: str) -> Engine:
    """Connect and bring the tables to the present layout; a SQLite file is copied and checked before they change.

    Raises: InputError (setting-bad): not an address of SQLite or PostgreSQL. RecordError (journal-unwritable): it
        cannot be reached or opened, or a newer program made it.
    """
    engine = _engine(address)
    try:
        with told_plainly(engine):
            _migrate(engine)
    except BaseException:
        engine.dispose()
        raise
    return engine


@contextmanager
def told_plainly(engine: Engine) -> Generator[None]:
    """Turn an error of the data base into RecordError (journal-unwritable), with no password in it."""
    try:
        yield
    except (SQLAlchemyError, sqlite3.Error) as error:
        said = str(getattr(error, "orig", None) or error).strip().splitlines() or ["it refuses"]
        where = engine.url.render_as_string(hide_password=True)
        raise RecordError(Code.JOURNAL_UNWRITABLE, f"the store: {said[0]}", where) from error


def _engine(address: str) -> Engine:
    try:
        url = make_url(address)
        if url.drivername not in ("sqlite", "postgresql+psycopg"):
            raise InputError(Code.SETTING_BAD, "a store is sqlite:///FILE or postgresql+psycopg://HOST/NAME")
        engine = create_engine(url, connect_args={"timeout": _BUSY_S} if url.drivername == "sqlite" else {})
    except (ArgumentError, ImportError) as error:
        raise InputError(Code.SETTING_BAD, f"the store's address: {error}") from error
    if engine.dialect.name == "sqlite":
        event.listen(engine, "connect", _prepare)
    return engine


def _prepare(connection: Any, _record: object) -> None:
    """A store can be filled again: it is kept consistent, and need not outlive a power failure to the last row."""
    for setting in ("journal_mode = WAL", "synchronous = NORMAL", "foreign_keys = ON", "cache_size = -65536"):
        connection.execute(f"PRAGMA {setting}")


def _migrate(engine: Engine) -> None:
    config = Config()
    config.set_main_option("script_location", str(Path(__file__).parent / "migrations").replace("%", "%%"))
    script = ScriptDirectory.from_config(config)
    with engine.connect() as connection:
        now = MigrationContext.configure(connection).get_current_revision()
    if now == script.get_current_head():
        return
    if now is not None and now not in {step.revision for step in script.walk_revisions()}:
        raise RecordError(Code.JOURNAL_UNWRITABLE, f"the store's layout {now} is of a newer program", str(engine.url))
    if now is not None and engine.dialect.name == "sqlite":
        copy_before(engine, now)
    with engine.begin() as connection:  # one transaction: whole or not at all
        if engine.dialect.name == "postgresql":
            connection.exec_driver_sql("SELECT pg_advisory_xact_lock(1634954342)")
        else:
            connection.exec_driver_sql("BEGIN IMMEDIATE")
        config.attributes["connection"] = connection
        command.upgrade(config, "head")


def copy_before(engine: Engine, revision: str) -> Path:
    """A checked copy of a SQLite store before its tables change. Raises RecordError when the copy does not check."""
    path = Path(str(engine.url.database))
    copy = path.with_name(f"{path.name}.before-{revision}")
    waiting = copy.with_name(copy.name + ".part")
    waiting.unlink(missing_ok=True)
    with engine.connect() as connection:
        connection.exec_driver_sql("VACUUM INTO ?", (str(waiting),))
        jobs = connection.exec_driver_sql("SELECT count(*) FROM job").scalar_one()
    checked = sqlite3.connect(waiting)
    try:
        whole = checked.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
        same = checked.execute("SELECT count(*) FROM job").fetchone()[0] == jobs
    finally:
        checked.close()
    if not (whole and same):
        raise RecordError(Code.RECORD_DAMAGED, "the copy before the change of layout does not check", str(waiting))
    waiting.replace(copy)
    return copy
