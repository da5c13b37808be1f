"""Needs: what work and findings call for, with the chain of reasons."""

from __future__ import annotations

import pytest

from asleft.book.functions import FUNCTIONS
from asleft.model.errors import Code, InputError
from asleft.model.module import ModuleAddress, ModulePicture, Picture, PictureKind
from asleft.model.trouble import TroubleCode
from asleft.model.work import Grade, Need, WorkItem
from asleft.plan.needs import find_needs, needs
from asleft.plan.work_items import WORK_ITEMS, find_work_item, suggest
from asleft.plan.work_rows import FITTINGS, WORK_ROWS


def graded(found: tuple[Need, ...]) -> dict[str, str]:
    return {n.function: n.grade.value for n in found}


def test_the_demo_job() -> None:
    """Throttle body off, cleaned, refitted: stop learn and idle relearn, in this order; P2176 is a second reason."""
    found = needs(
        (find_work_item("throttle body removed, cleaned and refitted"),), codes=(TroubleCode("P2176", "engine"),)
    )
    assert [(n.function, n.grade) for n in found] == [
        ("throttle-stop-learn", Grade.REQUIRED),
        ("idle-relearn", Grade.REQUIRED),
    ]
    reasons = [r.text for r in found[0].reasons]
    assert reasons[0] == "work done: throttle body removed, cleaned and refitted"
    assert reasons[1] == "stop and gasket were disturbed"
    assert "P2176 is stored in engine" in reasons[2]


def test_a_procedure_is_named_where_the_book_has_one() -> None:
    item = find_work_item("throttle-removed-refitted")
    found = needs((item,), procedures={"throttle-stop-learn": "throttle-stop-learn-aldra"})
    assert [n.procedure for n in found] == ["throttle-stop-learn-aldra", ""]


def test_the_strongest_grade_counts_and_each_function_stands_once() -> None:
    items = (find_work_item("throttle-cleaned-in-place"), find_work_item("throttle-replaced"))
    found = needs(items)
    assert graded(found)["throttle-stop-learn"] == "required"
    assert len({n.function for n in found}) == len(found)


def test_only_if_fitted_is_asked_once_and_counts_when_answered() -> None:
    items = (find_work_item("battery-replaced"), find_work_item("body-module"))
    asked = find_needs(items)
    assert graded(asked.needs)["window-roof-init"] == "advisable"
    assert "window-or-roof-motors" in asked.questions
    for answer, grade in ((True, "required"), (False, "not-needed")):
        told = find_needs(items, fitted={"window-or-roof-motors": answer})
        assert graded(told.needs)["window-roof-init"] == grade
        assert "window-or-roof-motors" not in told.questions


def test_a_module_that_answers_shows_what_is_fitted() -> None:
    camera = ModulePicture(ModuleAddress("camera", 0x730, 0x738), responded=True)
    silent = ModulePicture(ModuleAddress("camera", 0x730, 0x738), responded=False)
    item = (find_work_item("windscreen"),)
    shown = find_needs(item, (Picture(PictureKind.AS_FOUND, 0.0, 1.0, (camera,)),))
    assert graded(shown.needs)["camera-aim-static"] == "required"
    assert "forward-camera" in find_needs(item, (Picture(PictureKind.AS_FOUND, 0.0, 1.0, (silent,)),)).questions


def test_habits_are_refused_with_a_reason() -> None:
    found = needs((find_work_item("spark plugs"),))
    assert {n.grade for n in found} == {Grade.NOT_NEEDED}
    assert all("not needed" in n.reasons[-1].text for n in found)


def test_a_real_reason_outweighs_a_habit() -> None:
    found = needs((find_work_item("ignition-parts"), find_work_item("diesel-injectors")))
    assert graded(found)["misfire-adapt"] == "advisable"
    assert all("not needed" not in r.text for n in found if n.function == "misfire-adapt" for r in n.reasons)


@pytest.mark.parametrize(
    ("failure_type", "module", "function"),
    [
        (0x51, "engine", "programming-prereq"),
        (0x55, "body", "module-coding"),
        (0x54, "camera", "camera-aim-static"),
        (0x54, "brakes", "sas-zero"),
    ],
)
def test_failure_types_name_functions(failure_type: int, module: str, function: str) -> None:
    found = needs((), codes=(TroubleCode("C0061", module, failure_type=failure_type),))
    assert graded(found)[function] == "required"


@pytest.mark.parametrize("failure_type", [0x4A, 0x76, 0x78, 0x16, 0x87])
def test_failure_types_that_bar_a_learn_are_notes(failure_type: int) -> None:
    found = find_needs((), codes=(TroubleCode("C0061", "camera", failure_type=failure_type),))
    assert not found.needs
    assert len(found.notes) == 1


def test_checks_prerequisites_and_what_to_read_before() -> None:
    found = find_needs((find_work_item("engine-module-replaced"), find_work_item("suspension")))
    assert any("readiness" in m.text for m in found.checks)
    assert [m.text for m in found.first] == ["first: wheel alignment"]
    assert any("VIN" in m.text for m in found.before)


def test_unknown_work_is_refused_with_the_nearest() -> None:
    with pytest.raises(InputError, match="throttle-cleaned-in-place") as caught:
        find_work_item("thottle cleaned")
    assert caught.value.code is Code.UNKNOWN_WORK_ITEM
    with pytest.raises(InputError):
        needs((WorkItem("no-such", "no such"),))


@pytest.mark.parametrize(
    ("words", "first"),
    [
        ("throttle bodi cleaned", "throttle-cleaned-in-place"),
        ("new windshield", "windscreen"),
        ("timing belt changed", "timing-drive"),
        ("tires rotated", "tyres-replaced"),
        ("rear brake pads", "rear-pads-parking-brake"),
        ("oil change", "oil-service"),
        ("battery was off", "battery-disconnected"),
    ],
)
def test_what_a_technician_types_is_found(words: str, first: str) -> None:
    assert suggest(words)[0].id == first


def test_synonyms_are_taken_as_they_stand() -> None:
    assert find_work_item("  Throttle-body taken off ").id == "throttle-removed-refitted"


def test_no_two_rows_share_a_name() -> None:
    for row in WORK_ROWS:
        for name in (row.id, row.text, *row.synonyms):
            assert find_work_item(name).id == row.id
    assert len(WORK_ITEMS) == 74


def test_the_table_names_only_known_functions_fittings_and_rows() -> None:
    ids = {row.id for row in WORK_ROWS}
    for row in WORK_ROWS:
        assert {c.function for c in row.calls} <= set(FUNCTIONS)
        assert {c.only_if for c in row.calls} - {""} <= set(FITTINGS)
        assert {f for f, _ in row.not_needed} <= set(FUNCTIONS)
        assert set(row.also) <= ids


def test_a_code_read_in_two_ways_is_one_reason() -> None:
    """OBD gives P2176, UDS P2176-00: the failure type 00 says no more."""
    codes = (TroubleCode("P2176", "engine", failure_type=0), TroubleCode("P2176", "engine"))
    assert len(needs((), codes=codes)[0].reasons) == 1
