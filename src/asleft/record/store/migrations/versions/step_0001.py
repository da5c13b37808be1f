"""Jobs, what they are found by, runs, pictures."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op
from sqlalchemy.dialects.postgresql import TEXT as PG_TEXT

revision = "0001"
down_revision = None

WORDS = sa.Text().with_variant(PG_TEXT(collation="C"), "postgresql")
ID = sa.BigInteger().with_variant(sa.Integer(), "sqlite")


def _words(*names: str) -> list[sa.Column[str]]:
    return [sa.Column(name, WORDS, nullable=False) for name in names]


def _job() -> sa.Column[int]:
    return sa.Column("job", ID, sa.ForeignKey("job.id", ondelete="CASCADE"), nullable=False)


def upgrade() -> None:
    """The first tables."""
    op.create_table(
        "job",
        sa.Column("id", ID, primary_key=True),
        *_words("source", "number", "mark", "head"),
        sa.Column("events", sa.Integer, nullable=False),
        *_words("origin", "workshop", "vin", "plate", "order_text", "make", "model"),
        sa.Column("year", sa.Integer),
        *_words("work", "opened", "closed"),
        sa.Column("released", sa.Boolean, nullable=False),
        *_words("performed_by"),
        sa.Column("open_items", sa.Integer, nullable=False),
        sa.UniqueConstraint("source", "number", name="job_number"),
    )
    op.create_index("job_by_time", "job", ["opened", "id"])
    op.create_index("job_by_car", "job", ["vin", "opened"])
    op.create_table(
        "term",
        _job(),
        *_words("kind", "value", "opened"),
        sa.PrimaryKeyConstraint("job", "kind", "value", name="term_of_job"),
    )
    op.create_index("term_newest", "term", ["kind", "value", "opened", "job"])
    op.create_table(
        "run",
        _job(),
        *_words("run"),
        sa.Column("place", sa.Integer, nullable=False),
        *_words("function", "procedure", "name", "way", "digest", "began"),
        sa.Column("seconds", sa.Float),
        *_words("ended", "verdict", "why"),
        sa.Column("attempts", sa.Integer, nullable=False),
        sa.PrimaryKeyConstraint("job", "run", name="run_of_job"),
    )
    op.create_index("run_by_procedure", "run", ["procedure", "began"])
    op.create_table(
        "seen",
        _job(),
        *_words("picture", "module", "key", "kind", "name", "value", "unit"),
        sa.Column("number", sa.Float),
        *_words("at"),
        sa.PrimaryKeyConstraint("job", "picture", "module", "key", name="seen_of_job"),
    )
    op.create_index("seen_by_key", "seen", ["module", "key", "at"])
