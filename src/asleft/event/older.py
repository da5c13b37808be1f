"""Older versions of events and how each is read as the next one. Pure.

The bytes of an old event stay as they were stored and hashed; only what is made of them in memory is new. A version
that is out of use leaves ``body`` and comes here with its fields as they were, and ``upcast`` says what it means now.
"""

from __future__ import annotations

import msgspec

from asleft.model.message import Message

from .body import Body, JobClosed


class JobClosed1(msgspec.Struct, frozen=True, tag="job-closed@1"):
    """Until format v1: samples were not counted."""

    statement: Message
    performed_by: str
    released: bool
    counts: dict[str, int]


#: Every version that is read and no longer written. One member so far: write it as a union when there are two.
OldBody = JobClosed1


def upcast(old: OldBody) -> Body:
    """An old event in its present version. Chains of versions go through each in turn."""
    return JobClosed(old.statement, old.performed_by, old.released, old.counts, streams=None, parts=None)
