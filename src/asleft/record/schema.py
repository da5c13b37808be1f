"""The tables of the database file and how an older layout becomes the present one: only ever by adding.

Rules that the database itself keeps, whatever program writes: events and jobs are never changed or deleted, an event
follows the last one and names its hash, a seal names an event that stands, a chunk is stored once. Personal values may
be erased, nothing else.
"""

from __future__ import annotations

from asleft.event.envelope import NO_PREVIOUS

#: "aslf", so that the file is known for what it is.
APPLICATION = 0x61736C66

_LAYOUT_1 = f"""
CREATE TABLE job (
    job TEXT PRIMARY KEY NOT NULL,
    origin TEXT NOT NULL
) STRICT, WITHOUT ROWID;
CREATE TABLE event (
    job TEXT NOT NULL REFERENCES job,
    sequence INTEGER NOT NULL CHECK (sequence >= 1),
    previous TEXT NOT NULL,
    hash TEXT NOT NULL CHECK (length(hash) = 64),
    stored BLOB NOT NULL,
    UNIQUE (job, sequence)
) STRICT;
CREATE TRIGGER event_chained BEFORE INSERT ON event
WHEN new.sequence <> coalesce((SELECT max(sequence) FROM event WHERE job = new.job), 0) + 1
  OR new.previous <> coalesce(
    (SELECT hash FROM event WHERE job = new.job AND sequence = new.sequence - 1), '{NO_PREVIOUS}')
BEGIN SELECT RAISE(ABORT, 'the event does not follow the last one'); END;
CREATE TRIGGER event_not_changed BEFORE UPDATE ON event
BEGIN SELECT RAISE(ABORT, 'events are never changed'); END;
CREATE TRIGGER event_not_deleted BEFORE DELETE ON event
BEGIN SELECT RAISE(ABORT, 'events are never deleted'); END;
CREATE TRIGGER job_not_changed BEFORE UPDATE ON job
BEGIN SELECT RAISE(ABORT, 'jobs are never changed'); END;
CREATE TRIGGER job_not_deleted BEFORE DELETE ON job
BEGIN SELECT RAISE(ABORT, 'jobs are never deleted'); END;
"""  # noqa: S608 - a constant, no input

_LAYOUT_2 = """
CREATE TABLE seal (
    job TEXT NOT NULL,
    sequence INTEGER NOT NULL,
    public TEXT NOT NULL,
    signature TEXT NOT NULL,
    UNIQUE (job, sequence),
    FOREIGN KEY (job, sequence) REFERENCES event (job, sequence)
) STRICT;
CREATE TRIGGER seal_not_changed BEFORE UPDATE ON seal
BEGIN SELECT RAISE(ABORT, 'seals are never changed'); END;
CREATE TRIGGER seal_not_deleted BEFORE DELETE ON seal
BEGIN SELECT RAISE(ABORT, 'seals are never deleted'); END;
CREATE TABLE chunk (
    job TEXT NOT NULL REFERENCES job,
    hash TEXT NOT NULL CHECK (length(hash) = 64),
    content BLOB NOT NULL,
    UNIQUE (job, hash)
) STRICT;
CREATE TRIGGER chunk_not_changed BEFORE UPDATE ON chunk
BEGIN SELECT RAISE(ABORT, 'chunks are never changed'); END;
CREATE TRIGGER chunk_not_deleted BEFORE DELETE ON chunk
BEGIN SELECT RAISE(ABORT, 'chunks are never deleted'); END;
CREATE TABLE personal (
    job TEXT NOT NULL REFERENCES job,
    commitment TEXT NOT NULL CHECK (length(commitment) = 64),
    salt TEXT NOT NULL,
    value TEXT NOT NULL,
    UNIQUE (job, commitment)
) STRICT;
CREATE TRIGGER personal_not_changed BEFORE UPDATE ON personal
BEGIN SELECT RAISE(ABORT, 'personal values are erased, not changed'); END;
CREATE TABLE erasure (
    job TEXT NOT NULL REFERENCES job,
    wall TEXT NOT NULL,
    reason TEXT NOT NULL,
    by TEXT NOT NULL,
    count INTEGER NOT NULL
) STRICT;
CREATE TRIGGER erasure_not_changed BEFORE UPDATE ON erasure
BEGIN SELECT RAISE(ABORT, 'erasures are never changed'); END;
CREATE TRIGGER erasure_not_deleted BEFORE DELETE ON erasure
BEGIN SELECT RAISE(ABORT, 'erasures are never deleted'); END;
"""

#: What turns layout n into layout n + 1; the last one is the present.
STEPS = (_LAYOUT_1, _LAYOUT_2)
VERSION = len(STEPS)
