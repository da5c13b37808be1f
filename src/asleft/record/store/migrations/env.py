"""Run by Alembic on the connection that ``store.opening`` gives it."""

from __future__ import annotations

from alembic import context

from asleft.record.store.tables import METADATA

context.configure(connection=context.config.attributes["connection"], target_metadata=METADATA)
with context.begin_transaction():
    context.run_migrations()
