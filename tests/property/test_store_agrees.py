"""SQLite and PostgreSQL, filled with the same jobs, answer every question alike."""

from __future__ import annotations

from collections.abc import Generator
from pathlib import Path
from typing import Any

import msgspec
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlalchemy import Engine

from asleft.event import body as b
from asleft.event.envelope import Event
from asleft.model.errors import AsleftError
from asleft.model.fact import Fact, FactKey
from asleft.model.origin import Origin
from asleft.model.vin import parse_vin
from asleft.model.work import Vehicle, WorkItem
from asleft.record.store.digest import digest_of
from asleft.record.store.filling import put, writing
from asleft.record.store.opening import open_store
from asleft.record.store.reading import car_of, job_of, judged_values, learned_values, procedures_in, runs_of
from asleft.record.store.searching import Asked, search
from kit.events import Job, demo_job, fail_job, fictional_vin, full_job, hostile_job, replay_job
from kit.postgres import Server

WORDS = [
    "Straße",
    "strasse",
    "ÄPFEL",
    "apfel",
    "throttle",
    "Thröttle",
    "zz",
    "a_b",
    "100%",
    "x'y",
    "0417",
    "Ωmega",
    "ﬁt",
]
#: Jobs with the same moment of opening, words that collate otherwise elsewhere, cars with the same end of the VIN.
KINDS = ["words", "vin", "plate", "order", "number", "module", "code", "procedure", "person"]


def plain(number: int) -> tuple[Event, ...]:
    words = " ".join(WORDS[(number * step) % len(WORDS)] for step in (1, 2, 5))
    car = Vehicle(parse_vin(fictional_vin(f"16S{number % 7:06d}")), WORDS[number % 5], "Fifteen", 2020 + number % 9)
    job = Job(f"J-{number}", Origin.VEHICLE if number % 3 else Origin.BENCH)
    order = f"order {number % 4}"
    job.add(
        b.JobOpened("W", car, (WorkItem("x", words),), job.origin, "bus", "asleft", order), after_s=60.0 * (number % 5)
    )
    return job.add(b.FactStated(Fact(FactKey.PLATE, f"Ä {number % 6}"))).close("done", by=f"P{number % 3}. Ünal")


@pytest.fixture(scope="module")
def both(postgres: Server, tmp_path_factory: pytest.TempPathFactory) -> Generator[tuple[Engine, Engine]]:
    path: Path = tmp_path_factory.mktemp("agree") / "history.db"
    engines = (open_store(f"sqlite:///{path}"), open_store(postgres.new()))
    jobs = [demo_job(), fail_job(), full_job(), replay_job(), hostile_job("Ünal's %_ \u202e"), *map(plain, range(40))]
    for engine in engines:
        for source in ("bay 1", "bay 2"):
            for events in jobs:
                with writing(engine) as connection:
                    put(connection, source, digest_of(events), "0" * 64, "m")
    yield engines
    for engine in engines:
        engine.dispose()


def answer(ask: Any, engine: Engine, *asked: Any) -> bytes:
    try:
        return msgspec.json.encode(ask(engine, *asked))
    except AsleftError as error:
        return f"{error.code}: {error.detail}".encode()


TYPED = "thr*|0*|Ä 1|order 2|J-1*|p2176|16S000003|p1. ünal|ünal|done|ALD-906-032|throttle-stop-learn|z*|*||%|_"
TOKENS = st.sampled_from([*WORDS, *TYPED.split("|")]) | st.text(max_size=6)
DATES = st.sampled_from(["", "2031", "2031-04-17", "2031-04-18", "1999-01-01"])


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow])
@given(
    st.dictionaries(st.sampled_from(KINDS), TOKENS, max_size=3),
    st.lists(TOKENS, max_size=3),
    DATES,
    DATES,
    st.sampled_from(["", "vehicle", "bench", "replay"]),
    st.integers(1, 30),
)
def test_every_search_page_by_page(
    both: tuple[Engine, Engine],
    kinds: dict[str, str],
    words: list[str],
    since: str,
    until: str,
    origin: str,
    most: int,
) -> None:
    asked = Asked(**{**kinds, "words": " ".join(words), "since": since, "until": until, "origin": origin, "most": most})
    for _ in range(3):
        first, second = (answer(search, engine, asked) for engine in both)
        assert first == second
        after = "" if not first.startswith(b"{") else msgspec.json.decode(first)["after"]
        if not after:
            break
        asked = msgspec.structs.replace(asked, after=after)


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=40)
@given(TOKENS, st.sampled_from(["vehicle", "bench", "replay"]), st.sampled_from(["", "Straße", "throttle", "Aldra"]))
def test_everything_else(both: tuple[Engine, Engine], text: str, origin: str, make: str) -> None:
    questions: list[tuple[Any, ...]] = [
        (job_of, text, "bay 1"), (job_of, "J-7", "bay 2"), (job_of, text), (car_of, text), (car_of, "16S000003"),
        (runs_of, "throttle-stop-learn-by-routine", origin), (runs_of, text, origin), (procedures_in,),
    ]  # fmt: skip
    for question in questions:
        first, second = (answer(question[0], engine, *question[1:]) for engine in both)
        assert first == second
    for ask, names in ((learned_values, ("engine", "learned-lower-stop")), (judged_values, ("idle-proof", "idle-mean")),
                       (judged_values, ("throttle-stop-learn-by-routine", "rest-range"))):  # fmt: skip
        for only in ("", make):
            first, second = (msgspec.json.encode(ask(engine, *names, origin, make=only)) for engine in both)
            assert first == second
