"""Screening: class, reason and picture of each code; what waits keeps the function from starting."""

from __future__ import annotations

import pytest

from asleft.book.code_list import entry_for
from asleft.book.procedure import Others, Screening
from asleft.model.errors import Code, InputError
from asleft.model.module import ModuleAddress, ModulePicture, Picture, PictureKind
from asleft.model.trouble import CodeKind, TroubleCode
from asleft.model.work import ScreenClass
from asleft.plan.screening import gate, screen, sort_by_person

LISTS = Screening(
    block=("P0120..P0124", "P2135", "C0051-64"), expected=("P2176",), expected_if_new=("P0507",), others=Others.UNSORTED
)
ADDRESS = ModuleAddress("engine", 0x7E0, 0x7E8)
RECEIVED, FOUND = PictureKind.AS_RECEIVED, PictureKind.AS_FOUND


def picture(kind: PictureKind, *codes: TroubleCode) -> Picture:
    names = dict.fromkeys(["engine", *(c.module for c in codes)])
    modules = [
        ModulePicture(ModuleAddress(n, 0x700, 0x708), True, codes=tuple(c for c in codes if c.module == n))
        for n in names
    ]
    return Picture(kind, 0.0, 1.0, tuple(modules))


def code(text: str, module: str = "engine", **more: object) -> TroubleCode:
    return TroubleCode(text, module, **more)  # type: ignore[arg-type]


def classes(received: tuple[TroubleCode, ...], found: tuple[TroubleCode, ...], lists: Screening = LISTS) -> list[str]:
    screened = screen("f", lists, picture(RECEIVED, *received), picture(FOUND, *found), module="engine")
    return [c.screen.value for c in screened]


@pytest.mark.parametrize(
    ("received", "found", "expected"),
    [
        ((), ("P0122",), ["block"]),
        ((), ("P0125",), ["unsorted"]),
        (("P0122",), (), ["unrelated"]),
        ((), ("P2176",), ["expected"]),
        (("P2176",), ("P2176",), ["expected"]),
        ((), ("P0507",), ["expected"]),
        (("P0507",), ("P0507",), ["block"]),
        (("P0507",), (), ["block"]),
        ((), ("P0301",), ["unsorted"]),
        (("P0301",), (), ["unrelated"]),
        ((), ("P2135", "P2176"), ["block", "expected"]),
    ],
)
def test_class_depends_on_list_and_picture(
    received: tuple[str, ...], found: tuple[str, ...], expected: list[str]
) -> None:
    """The case of P0507 stands in the trade's notes: new after cleaning it is expected, before the work it blocks."""
    assert classes(tuple(map(code, received)), tuple(map(code, found))) == expected


def test_without_an_as_received_picture_nobody_knows_what_is_new() -> None:
    missed = Picture(RECEIVED, 0.0, 0.0, not_taken="the repair had begun")
    for received in (missed, None):
        found = screen("f", LISTS, received, picture(FOUND, code("P0507")))
        assert [c.screen for c in found] == [ScreenClass.UNSORTED]


@pytest.mark.parametrize("failure_type", [0x51, 0x54, 0x56])
def test_failure_types_that_name_a_missing_function_are_expected(failure_type: int) -> None:
    assert classes((), (code("C0061", "brakes", failure_type=failure_type),)) == ["expected"]


@pytest.mark.parametrize("failure_type", [None, 0x16, 0x50, 0x57])
def test_other_failure_types_are_not(failure_type: int | None) -> None:
    assert classes((), (code("C0061", "brakes", failure_type=failure_type),)) == ["unsorted"]


def test_the_more_exact_entry_counts() -> None:
    assert entry_for(code("C0051", failure_type=0x64), LISTS.block) == "C0051-64"
    assert entry_for(code("C0051", failure_type=0x54), LISTS.block) is None
    assert entry_for(code("P0122", failure_type=0x16), LISTS.block) == "P0120..P0124"
    assert entry_for(code("C0122"), LISTS.block) is None


def test_each_code_once_a_module_with_both_pictures() -> None:
    pending = code("P2176", kind=CodeKind.PENDING)
    found = screen("f", LISTS, picture(RECEIVED, pending), picture(FOUND, pending, code("P2176")))
    assert len(found) == 1
    assert found[0].seen_in == (RECEIVED, FOUND)


def test_other_modules_can_be_counted_as_unrelated() -> None:
    lists = Screening(elsewhere=Others.UNRELATED)
    assert classes((), (code("B1234", "body"), code("P0301")), lists) == ["unsorted", "unrelated"]


def test_the_gate_and_a_persons_sorting() -> None:
    found = screen("f", LISTS, picture(RECEIVED), picture(FOUND, code("P0301"), code("P0122")))
    assert not gate(found).open
    waiting, blocking = gate(found).waiting[0], gate(found).blocking[0]
    sorted_code = sort_by_person(waiting, ScreenClass.UNRELATED, "M. Okafor", "old code, plug replaced")
    assert gate((sorted_code,)).open
    assert "M. Okafor" in sorted_code.reason.text
    for args in [(ScreenClass.UNRELATED, "", "x"), (ScreenClass.UNRELATED, "x", " "), (ScreenClass.UNSORTED, "x", "y")]:
        with pytest.raises(InputError) as caught:
            sort_by_person(waiting, *args)
        assert caught.value.code is Code.SCREENING_REFUSED
    with pytest.raises(InputError, match="repair first"):
        sort_by_person(blocking, ScreenClass.EXPECTED, "x", "y", risk=3)


def test_failure_type_zero_says_no_more_than_none() -> None:
    found = screen("f", LISTS, None, picture(FOUND, code("P2176", failure_type=0), code("P2176")))
    assert [c.screen for c in found] == [ScreenClass.EXPECTED]
