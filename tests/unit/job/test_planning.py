"""What a picture tells of the car goes into the choice of its procedures."""

from __future__ import annotations

import dataclasses

from asleft.book.procedure import ModuleNumbers
from asleft.event.fold import JobState, fold
from asleft.job.planning import car_facts
from asleft.model.module import PictureKind
from kit.events import demo_job
from kit.gallery import whole_job


def test_the_numbers_of_its_modules_come_from_the_newest_picture() -> None:
    state = fold(whole_job())
    found = state.pictures[PictureKind.AS_FOUND]
    told = {(m.value("part-number"), m.value("software-number") or "") for m in found.modules if m.value("part-number")}
    assert told
    assert {(n.part_number, n.software_number) for n in car_facts(state).numbers} == told
    without = {k: p for k, p in state.pictures.items() if k is not PictureKind.AS_FOUND}
    assert car_facts(dataclasses.replace(state, pictures=without)).numbers


def test_without_a_picture_nothing_is_known() -> None:
    assert car_facts(JobState()).numbers == ()
    assert isinstance(car_facts(fold(demo_job())).numbers, tuple)
    assert all(isinstance(n, ModuleNumbers) for n in car_facts(fold(demo_job())).numbers)
