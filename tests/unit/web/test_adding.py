"""The page that adds to a picture: offered while the job is in hand, sent whole, shown with its source."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from asleft.event import body as b
from asleft.model.module import Item, PictureKind
from asleft.model.reading import Evidence
from kit.asgi import get, post
from kit.gallery import StandIn, bodies, cut_after, store, whole_job

VALUE = b.PictureExtended(
    PictureKind.AS_FOUND,
    Item("learned-idle-air", "learned idle air", "<b>0.42</b>", unit="g/s"),
    "engine",
    Evidence.OBSERVED,
    "other tester, level 4.1",
    "A. Novak",
)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("adding")
    until = cut_after(whole_job(), b.QuestionAsked, 1, "identifier.choose")
    store(folder, "J-1", [*bodies(until), VALUE])
    store(folder, "J-2", bodies(cut_after(whole_job(), b.QuestionAsked)))
    return folder


@pytest.fixture
def engine(folder: Path) -> Iterator[StandIn]:
    with StandIn(folder) as engine:
        yield engine


def test_what_was_added_stands_in_its_picture_as_text(folder: Path) -> None:
    page = get(folder, "/job/J-1").text
    found = page.partition('id="part-found"')[2].partition("</section>")[0]
    assert "&lt;b&gt;0.42&lt;/b&gt; g/s" in found
    assert "other tester, level 4.1" in found
    assert "A. Novak" in found
    assert "Added by hand" not in page.partition('id="part-received"')[2].partition("</section>")[0]


def test_it_is_offered_only_while_the_job_is_in_hand(folder: Path, engine: StandIn) -> None:
    assert "/add?picture=as-found" not in get(folder, "/job/J-1").text
    engine.job = "J-1"
    assert "/add?picture=as-found" in get(folder, "/job/J-1").text


def test_the_form_knows_pictures_and_modules(folder: Path, engine: StandIn) -> None:
    page = get(folder, "/job/J-1/add?picture=as-received").text
    assert '<option value="as-received" selected>' in page
    assert '<option value="as-left"' not in page
    assert '<option value="brakes">' in page
    assert get(folder, "/job/J-2/add").status_code == 404, "no picture was taken yet"


def test_value_and_document_go_to_the_engine(folder: Path, engine: StandIn) -> None:
    engine.job = "J-1"
    form = {
        "picture": "as-found",
        "module": "engine",
        "name": "idle air",
        "value": "0.4",
        "unit": "g/s",
        "source": "gauge 3",
    }
    assert post(folder, "/job/J-1/add", by="A. Novak", **form).status_code == 303
    shot = {"document": ("screen.jpg", b"\xff\xd8xx", "image/jpeg")}
    assert post(folder, "/job/J-1/add", files=shot, by="A. Novak", **form).status_code == 303
    first, second = engine.told
    assert first == {"command": "extend-picture", "job": "J-1", "by": "A. Novak", **form}
    assert (second["document"], second["content"]) == ("screen.jpg", "/9h4eA==")


def test_nothing_said_nobody_named_and_a_forged_form(folder: Path, engine: StandIn) -> None:
    engine.job = "J-1"
    assert post(folder, "/job/J-1/add", by="A. Novak", name="x", source="y").status_code == 409
    assert post(folder, "/job/J-1/add", name="x", source="y", value="1").status_code == 409
    assert post(folder, "/job/J-1/add", by="A", name="x", source="y", value="1", token="z").status_code == 403
    assert engine.told == []
