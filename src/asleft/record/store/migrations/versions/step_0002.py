"""Criteria judged, so that a proof's numbers can be charted over cars. What was read before is read again."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op
from sqlalchemy.dialects.postgresql import TEXT as PG_TEXT

revision = "0002"
down_revision = "0001"

WORDS = sa.Text().with_variant(PG_TEXT(collation="C"), "postgresql")
ID = sa.BigInteger().with_variant(sa.Integer(), "sqlite")


def upgrade() -> None:
    """One more table; marks are emptied, so that the next filling reads every job again."""
    op.create_table(
        "judged",
        sa.Column("job", ID, sa.ForeignKey("job.id", ondelete="CASCADE"), nullable=False),
        sa.Column("place", sa.Integer, nullable=False),
        *[sa.Column(n, WORDS, nullable=False) for n in ("run", "procedure", "criterion", "name", "verdict")],
        sa.Column("value", sa.Float),
        sa.Column("u", sa.Float),
        sa.Column("unit", WORDS, nullable=False),
        sa.Column("low", sa.Float),
        sa.Column("high", sa.Float),
        sa.Column("at", WORDS, nullable=False),
        sa.PrimaryKeyConstraint("job", "place", name="judged_of_job"),
    )
    op.create_index("judged_by_criterion", "judged", ["procedure", "criterion", "at"])
    op.execute(sa.text("UPDATE job SET mark = ''"))
