"""Tables of the store. Every text is compared by code point, in SQLite as in PostgreSQL, so that both answer alike."""

from __future__ import annotations

from sqlalchemy import (
    BigInteger,
    Boolean,
    Column,
    Float,
    ForeignKey,
    Index,
    Integer,
    MetaData,
    PrimaryKeyConstraint,
    Table,
    Text,
    UniqueConstraint,
)
from sqlalchemy.dialects.postgresql import TEXT as PG_TEXT

METADATA = MetaData()

#: Text by code point; ``C`` is PostgreSQL's name for that order, SQLite has no other.
WORDS = Text().with_variant(PG_TEXT(collation="C"), "postgresql")
_ID = BigInteger().with_variant(Integer(), "sqlite")


def _of_job() -> Column[int]:
    return Column("job", _ID, ForeignKey("job.id", ondelete="CASCADE"), nullable=False)


#: One row a job. ``source``: the data folder it comes from; ``mark``: what of the journal was read.
JOB = Table(
    "job",
    METADATA,
    Column("id", _ID, primary_key=True),
    Column("source", WORDS, nullable=False),
    Column("number", WORDS, nullable=False),
    Column("mark", WORDS, nullable=False),
    Column("head", WORDS, nullable=False),
    Column("events", Integer, nullable=False),
    Column("origin", WORDS, nullable=False),
    Column("workshop", WORDS, nullable=False),
    Column("vin", WORDS, nullable=False),
    Column("plate", WORDS, nullable=False),
    Column("order_text", WORDS, nullable=False),
    Column("make", WORDS, nullable=False),
    Column("model", WORDS, nullable=False),
    Column("year", Integer),
    Column("work", WORDS, nullable=False),
    Column("opened", WORDS, nullable=False),
    Column("closed", WORDS, nullable=False),
    Column("released", Boolean, nullable=False),
    Column("performed_by", WORDS, nullable=False),
    Column("open_items", Integer, nullable=False),
    UniqueConstraint("source", "number", name="job_number"),
    Index("job_by_time", "opened", "id"),
    Index("job_by_car", "vin", "opened"),
)

#: What a job is found by. ``opened`` stands here too, so that one index gives the newest first.
TERM = Table(
    "term",
    METADATA,
    _of_job(),
    Column("kind", WORDS, nullable=False),
    Column("value", WORDS, nullable=False),
    Column("opened", WORDS, nullable=False),
    PrimaryKeyConstraint("job", "kind", "value", name="term_of_job"),
    Index("term_newest", "kind", "value", "opened", "job"),
)

#: One row a run of a procedure.
RUN = Table(
    "run",
    METADATA,
    _of_job(),
    Column("run", WORDS, nullable=False),
    Column("place", Integer, nullable=False),
    Column("function", WORDS, nullable=False),
    Column("procedure", WORDS, nullable=False),
    Column("name", WORDS, nullable=False),
    Column("way", WORDS, nullable=False),
    Column("digest", WORDS, nullable=False),
    Column("began", WORDS, nullable=False),
    Column("seconds", Float),
    Column("ended", WORDS, nullable=False),
    Column("verdict", WORDS, nullable=False),
    Column("why", WORDS, nullable=False),
    Column("attempts", Integer, nullable=False),
    PrimaryKeyConstraint("job", "run", name="run_of_job"),
    Index("run_by_procedure", "procedure", "began"),
)

#: What modules said in the three pictures. ``number``: the value as a number, where it is one.
SEEN = Table(
    "seen",
    METADATA,
    _of_job(),
    Column("picture", WORDS, nullable=False),
    Column("module", WORDS, nullable=False),
    Column("key", WORDS, nullable=False),
    Column("kind", WORDS, nullable=False),
    Column("name", WORDS, nullable=False),
    Column("value", WORDS, nullable=False),
    Column("unit", WORDS, nullable=False),
    Column("number", Float),
    Column("at", WORDS, nullable=False),
    PrimaryKeyConstraint("job", "picture", "module", "key", name="seen_of_job"),
    Index("seen_by_key", "module", "key", "at"),
)

#: Criteria judged, of all attempts; ``place`` counts them within a job.
JUDGED = Table(
    "judged",
    METADATA,
    _of_job(),
    Column("place", Integer, nullable=False),
    Column("run", WORDS, nullable=False),
    Column("procedure", WORDS, nullable=False),
    Column("criterion", WORDS, nullable=False),
    Column("name", WORDS, nullable=False),
    Column("verdict", WORDS, nullable=False),
    Column("value", Float),
    Column("u", Float),
    Column("unit", WORDS, nullable=False),
    Column("low", Float),
    Column("high", Float),
    Column("at", WORDS, nullable=False),
    PrimaryKeyConstraint("job", "place", name="judged_of_job"),
    Index("judged_by_criterion", "procedure", "criterion", "at"),
)

#: Rows that hang on a job, in the order they are written.
PARTS = (TERM, RUN, SEEN, JUDGED)
