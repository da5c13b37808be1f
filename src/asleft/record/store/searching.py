"""Finding jobs by what they are found by: the rarest term leads, the others are looked up; newest first."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Any, NamedTuple

import msgspec
from sqlalchemy import Connection, Engine, Select, and_, exists, func, literal, or_, select

from asleft.model.errors import Code, InputError

from .found import JobFound, JobsFound
from .opening import told_plainly
from .tables import JOB, TERM
from .terms import KINDS, value_of, words_of

#: A beginning (``thrott*``) stands for at most so many terms.
_MOST_ENDINGS = 64
#: Up to here terms are counted to find the rarest.
_COUNTED = 2000
_LAST = "\U0010ffff"
MOST = 200
#: As many as 300 characters can hold.
_MOST_WORDS, _MOST_TERMS = 150, 200
_DAY = re.compile("[0-9]{4}(-[0-9]{2}(-[0-9]{2})?)?")

FOUND = tuple(JOB.c[name] for name in JobFound.__struct_fields__)


class Asked(msgspec.Struct, frozen=True):
    """What is looked for; all of it must hold. A ``*`` at the end stands for any ending.

    Attributes:
        words: as typed into one box: words, or any of the numbers below.
        vin: whole or last eight. module: part, software, hardware, serial number or calibration of a control module.
        since, until: dates, the first and the last day, ``2031-04-17``, in UTC; or their beginnings, ``2031-04``.
        origin: vehicle, bench, replay; empty: all.
        most: jobs on a page, 1 to 200. after: as the page before said.
    """

    words: str = ""
    vin: str = ""
    plate: str = ""
    order: str = ""
    number: str = ""
    module: str = ""
    code: str = ""
    procedure: str = ""
    person: str = ""
    since: str = ""
    until: str = ""
    origin: str = ""
    most: int = 20
    after: str = ""


class Term(NamedTuple):
    """Any of these values of one kind."""

    kind: str
    values: tuple[str, ...]


def search(engine: Engine, asked: Asked) -> JobsFound:
    """Jobs for which all of it holds, newest first.

    Raises: InputError (asked-wrongly): a beginning that stands for too much, a date or page that cannot be read.
        RecordError (journal-unwritable).
    """
    if not 1 <= asked.most <= MOST:
        raise InputError(Code.ASKED_WRONGLY, f"most: 1 to {MOST}")
    with told_plainly(engine), engine.connect() as connection:
        terms = _terms(connection, asked)
        if any(not term.values for term in terms):
            return JobsFound(())
        rows = connection.execute(_statement(_rarest_first(connection, terms), asked)).mappings().all()
    page = rows[: asked.most]
    jobs = tuple(JobFound(**{c.name: row[c.name] for c in FOUND}) for row in page)
    return JobsFound(jobs, f"{page[-1]['opened']}~{page[-1]['id']}" if len(rows) > asked.most else "")


# -- terms -----------------------------------------------------------------------------------------------------------


def _terms(connection: Connection, asked: Asked) -> list[Term]:
    said = [(kind, getattr(asked, kind)) for kind in KINDS if kind != "word"]
    terms = [_meant(connection, kind, text) for kind, text in said if text.strip()]
    tokens = asked.words.split()
    for token in tokens[:_MOST_WORDS]:
        terms += _from_box(connection, token)
    if len(tokens) > _MOST_WORDS or len(terms) > _MOST_TERMS:
        raise InputError(Code.ASKED_WRONGLY, f"at most {_MOST_WORDS} words are looked for at once")
    return list(dict.fromkeys(terms))


def _meant(connection: Connection, kind: str, text: str) -> Term:
    value = value_of(kind, text.strip().removesuffix("*"))
    if not value:
        return Term(kind, ())
    return Term(kind, _beginning(connection, kind, value) if text.strip().endswith("*") else (value,))


def _from_box(connection: Connection, token: str) -> list[Term]:
    """A token is one number with signs in it where such a number is known, else its words."""
    joined = _meant(connection, "word", "".join(c for c in token if c.isalnum() or c == "*"))
    if len(joined.values) > 1 or (joined.values and _count(connection, joined, 1)):
        return [joined]
    words = sorted(words_of([token]))
    return [Term("word", (word,)) for word in words] or [Term("word", ())]


def _beginning(connection: Connection, kind: str, begin: str) -> tuple[str, ...]:
    """The terms that begin so, by jumping from one to the next in the index."""
    found: list[str] = []
    least, strict = begin, False
    while len(found) <= _MOST_ENDINGS:
        over = TERM.c.value > least if strict else TERM.c.value >= least
        first = select(TERM.c.value).where(TERM.c.kind == kind, over, TERM.c.value < begin + _LAST)
        value = connection.scalar(first.order_by(TERM.c.value).limit(1))
        if value is None:
            return tuple(found)
        found.append(value)
        least, strict = value, True
    raise InputError(Code.ASKED_WRONGLY, f"{begin}*: too many terms begin so; type more of it")


def _count(connection: Connection, term: Term, most: int) -> int:
    some = select(literal(1)).where(is_any(TERM, term)).limit(most).subquery()
    return connection.scalar(select(func.count()).select_from(some)) or 0


def _rarest_first(connection: Connection, terms: Sequence[Term]) -> list[Term]:
    if len(terms) < 2:
        return list(terms)
    return sorted(terms, key=lambda term: _count(connection, term, _COUNTED))


def is_any(table: Any, term: Term) -> Any:
    """The condition that a row of terms is one of these."""
    one = len(term.values) == 1
    return and_(table.c.kind == term.kind, table.c.value == term.values[0] if one else table.c.value.in_(term.values))


# -- the statement ---------------------------------------------------------------------------------------------------


def _statement(terms: Sequence[Term], asked: Asked) -> Select[Any]:
    if not terms:
        plain = select(JOB.c.id, *FOUND).where(*_times(JOB.c.opened, JOB.c.id, asked), *_origin(asked))
        return plain.order_by(JOB.c.opened.desc(), JOB.c.id.desc()).limit(asked.most + 1)
    lead, *others = terms
    also = [
        exists().where(other.c.job == TERM.c.job, is_any(other, t))
        for t, other in zip(others, _tables(others), strict=True)
    ]
    if asked.origin:
        also.append(exists().where(JOB.c.id == TERM.c.job, *_origin(asked)))
    first = select(TERM.c.job, TERM.c.opened).where(
        is_any(TERM, lead), *_times(TERM.c.opened, TERM.c.job, asked), *also
    )
    if len(lead.values) > 1:
        first = first.distinct()
    leading = first.order_by(TERM.c.opened.desc(), TERM.c.job.desc()).limit(asked.most + 1).subquery()
    whole = select(JOB.c.id, *FOUND).join(leading, leading.c.job == JOB.c.id)
    return whole.order_by(JOB.c.opened.desc(), JOB.c.id.desc())


def _tables(terms: Sequence[Term]) -> list[Any]:
    return [TERM.alias(f"also_{n}") for n in range(len(terms))]


def _origin(asked: Asked) -> list[Any]:
    return [JOB.c.origin == asked.origin] if asked.origin else []


def _times(opened: Any, job: Any, asked: Asked) -> list[Any]:
    limits = [opened >= _date(asked.since)] if asked.since else []
    if asked.until:
        limits.append(opened < _date(asked.until) + _LAST)
    if asked.after:
        at, tilde, number = asked.after.partition("~")
        if not (tilde and number.isascii() and number.isdigit() and len(number) < 19):
            raise InputError(Code.ASKED_WRONGLY, "after: use what the page before said")
        limits += [opened <= at, or_(opened < at, job < int(number))]
    return limits


def _date(text: str) -> str:
    if not _DAY.fullmatch(text):
        raise InputError(Code.ASKED_WRONGLY, f"{text!r}: write a date as 2031-04-17, or its beginning")
    return text
