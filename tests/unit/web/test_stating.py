"""The page that states what no module tells: offered while the job is in hand, refused without a name or a word."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from asleft.event import body as b
from asleft.model.fact import Fact, FactKey
from kit.asgi import get, post
from kit.gallery import StandIn, bodies, cut_after, store, whole_job


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("stating")
    plate = b.FactStated(Fact(FactKey.PLATE, "<b>GS 417</b>", source="plate"))
    store(folder, "J-1", [*bodies(cut_after(whole_job(), b.QuestionAsked)), plate])
    return folder


@pytest.fixture
def engine(folder: Path) -> Iterator[StandIn]:
    with StandIn(folder) as engine:
        yield engine


def test_it_is_offered_only_while_the_job_is_in_hand(folder: Path, engine: StandIn) -> None:
    assert "/job/J-1/state" not in get(folder, "/job/J-1").text
    engine.job = "J-1"
    assert "/job/J-1/state" in get(folder, "/job/J-1").text


def test_the_form_shows_what_is_stated_as_text(folder: Path) -> None:
    page = get(folder, "/job/J-1/state").text
    assert '<option value="odometer-out">odometer out</option>' in page
    assert "registration plate: &lt;b&gt;GS 417&lt;/b&gt; (declared; plate)" in page


def test_what_is_said_goes_to_the_engine(folder: Path, engine: StandIn) -> None:
    engine.job = "J-1"
    fact = {"key": "odometer-out", "text": "84119", "unit": "km", "evidence": "observed", "source": "cluster display"}
    assert post(folder, "/job/J-1/state", by="A. Novak", **fact).status_code == 303
    assert engine.told == [{"command": "state-facts", "job": "J-1", "by": "A. Novak", "facts": [fact]}]


def test_nothing_said_nobody_named_and_a_forged_form(folder: Path, engine: StandIn) -> None:
    engine.job = "J-1"
    assert post(folder, "/job/J-1/state", by="A. Novak", key="plate", text=" ").status_code == 409
    assert post(folder, "/job/J-1/state", key="plate", text="GS 417").status_code == 409
    assert post(folder, "/job/J-1/state", by="A", key="plate", text="GS 417", token="z").status_code == 403
    assert engine.told == []
