"""Which map a car gets, what stands in the record, and a whole picture through one."""

from __future__ import annotations

import contextlib
import shutil
from pathlib import Path

import pytest

from asleft.bench.cars.petrol import PetrolCar
from asleft.event.fold import JobState, fold
from asleft.job.car_maps import car_maps, draft_of, map_file, map_for, shown, with_map
from asleft.job.clock import LoopClock, run_virtual
from asleft.job.desk import Desk
from asleft.job.engine import read_order, work_job
from asleft.model.errors import AsleftError, InputError
from asleft.model.module import PictureKind
from asleft.model.question import Question
from asleft.model.vin import parse_vin
from asleft.model.work import Vehicle
from asleft.practice.looking import look
from asleft.practice.scene import demo_order
from asleft.record.journal import open_journal
from asleft.talk.modules import ModuleMap
from asleft.talk.policy import WritesPolicy
from kit.bench_job import HookedPerson, Scene, own_book

pytest.importorskip("cantools")

DOCS = Path(__file__).parents[3] / "docs" / "maps"


def folder_with(tmp_path: Path, **changes: str) -> Path:
    """A data folder with the example's map, and copies of it with another id and a text changed."""
    maps = tmp_path / "maps"
    maps.mkdir()
    shutil.copy(DOCS / "aldra-1.6.dbc", maps)
    text = (DOCS / "aldra-1.6.yaml").read_text("utf-8")
    (maps / "a.yaml").write_text(text, "utf-8")
    for name, change in changes.items():
        old, new = change.split("→")
        assert old in text
        (maps / f"{name}.yaml").write_text(text.replace("id: aldra-1-6", f"id: {name}").replace(old, new), "utf-8")
    return tmp_path


def car(make: str = "aldra", model: str = " 1.6 ", year: int | None = 2015) -> Vehicle:
    return Vehicle(parse_vin(PetrolCar(seed=1).vin), make, model, year)


def test_make_model_and_year_choose(tmp_path: Path) -> None:
    folder = folder_with(tmp_path, newer="[2012, 2022]→[2023, 2025]", other='model: "1.6"→model: "2.0"')
    assert [f.found.id for f in car_maps(folder) if f.found] == ["aldra-1-6", "newer", "other"]
    for vehicle, wanted in ((car(), "aldra-1-6"), (car(year=2024), "newer"), (car(model="2.0"), "other")):
        found = map_for(folder, vehicle)
        assert found is not None
        assert found.id == wanted
    assert map_for(folder, car(make="Brevik")) is None
    assert map_for(folder, car(year=None)) is None, "a year that is not known fits no years"
    assert map_for(tmp_path / "elsewhere", car()) is None


def test_two_that_fit_are_an_error_that_names_both(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="aldra-1-6, twin"):
        map_for(folder_with(tmp_path, twin="title: Aldra→title: Another Aldra"), car())


def test_a_map_that_cannot_be_used_is_no_silence(tmp_path: Path) -> None:
    """Unless another one fits: then it is not the one that is missed."""
    folder = folder_with(tmp_path, bad='request: "7E0"→request: "9E0"')
    assert map_for(folder, car()) is not None
    with pytest.raises(InputError, match=r"bad\.yaml:\d+"):
        map_for(folder, car(make="Brevik"))


@pytest.mark.parametrize("address", ["bench:petrol?seed=1", "bench:cable?seed=1"])
def test_a_draft_can_be_used_once_it_is_completed(tmp_path: Path, address: str) -> None:
    picture, _ = look(address)
    text = draft_of(picture)
    path = tmp_path / "new.yaml"
    path.write_text(text, "utf-8")
    found = map_file(path).found
    assert found is not None, map_file(path).problems
    assert [m.address.place for m in found.modules.modules] == [m.address.place for m in picture.modules if m.responded]
    assert shown(found)[0].startswith("new-car")


class Enough(Exception):
    """The test has seen what it wanted."""


def test_a_job_is_worked_with_the_map_and_its_record_says_so(tmp_path: Path) -> None:
    """A desk that knows no module: learned values come into the picture by the workshop's file alone."""
    folder = folder_with(tmp_path)

    async def main(clock: LoopClock) -> tuple[Desk, JobState]:
        scene = Scene(clock, tmp_path / "data")
        seen: list[Question] = []

        def hook(question: Question) -> None:
            seen.append(question)
            if len(seen) > 1:
                raise Enough

        person = HookedPerson(scene.person(), hook)
        bare = Desk(scene.link, clock, person, own_book(idle=False), ModuleMap(), "workshop", "somebody")
        order = read_order(demo_order(scene.car.vin), "T-1")
        desk = with_map(bare, folder, order.vehicle)
        assert with_map(desk, tmp_path / "elsewhere", order.vehicle) is desk, "known already"
        with open_journal(scene.folder) as journals:
            journal = journals.create("T-1", source=scene.link, clock=clock)
            with contextlib.suppress(Enough, AsleftError):
                await work_job(desk, journal, order, WritesPolicy())
            state = fold(journal.events())
            journal.give_back()
        scene.car.detach()
        return desk, state

    desk, state = run_virtual(main)
    (note,) = [n for n in state.notes if n.id == "job.car-map"]
    assert desk.car_map is not None
    assert desk.car_map.sha256 in note.text
    engine = next(m for m in state.pictures[PictureKind.AS_RECEIVED].modules if m.address.name == "engine")
    assert {i.key for i in engine.learned if i.absence is None} == {"learned-lower-stop", "learned-idle-air"}
