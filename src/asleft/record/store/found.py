"""What the store answers: plain values, ready to be printed, drawn or sent as JSON."""

from __future__ import annotations

import msgspec


class JobFound(msgspec.Struct, frozen=True):
    """A job in a list.

    Attributes:
        source: data folder it comes from. number: its number there.
        head: hash of its last event when it was read.
        opened, closed: UTC; closed empty: still open.
        work: what was done, in words.
    """

    source: str
    number: str
    head: str
    events: int
    origin: str
    workshop: str
    vin: str
    plate: str
    order_text: str
    make: str
    model: str
    year: int | None
    work: str
    opened: str
    closed: str
    released: bool
    performed_by: str
    open_items: int


class JobsFound(msgspec.Struct, frozen=True):
    """A page of jobs, newest first; ``after`` asks for the next one, empty: there is none."""

    jobs: tuple[JobFound, ...]
    after: str = ""


class RunFound(msgspec.Struct, frozen=True):
    """A run of a procedure; ``seconds`` None: it did not end. ``why`` it did not pass, empty: it did."""

    run: str
    function: str
    procedure: str
    name: str
    way: str
    digest: str
    began: str
    seconds: float | None
    ended: str
    verdict: str
    why: str
    attempts: int


class SeenFound(msgspec.Struct, frozen=True):
    """Something a module said in one of the three pictures."""

    picture: str
    module: str
    key: str
    kind: str
    name: str
    value: str
    unit: str


class JudgedFound(msgspec.Struct, frozen=True):
    """A criterion judged; limits None: open."""

    run: str
    procedure: str
    criterion: str
    name: str
    verdict: str
    value: float | None
    u: float | None
    unit: str
    low: float | None
    high: float | None


class JobWhole(msgspec.Struct, frozen=True):
    """A job with all that the store holds of it."""

    job: JobFound
    runs: tuple[RunFound, ...]
    seen: tuple[SeenFound, ...]
    judged: tuple[JudgedFound, ...]


class RunOnCar(msgspec.Struct, frozen=True):
    """A run among those of many cars."""

    source: str
    number: str
    make: str
    model: str
    began: str
    seconds: float | None
    ended: str
    verdict: str
    why: str
    attempts: int


class Point(msgspec.Struct, frozen=True):
    """A value of a car at a time, in ``unit``; ``u`` its standard uncertainty where one was stated."""

    source: str
    number: str
    make: str
    model: str
    at: str
    value: float
    unit: str
    u: float | None = None
