"""Findings from pictures: blank coding, another module, other software, low supply."""

from __future__ import annotations

import pytest

from asleft.model.module import Item, ModuleAddress, ModulePicture, Picture, PictureKind
from asleft.model.origin import Origin
from asleft.model.reading import Reading
from asleft.plan.needs import find_needs

ADDRESS = ModuleAddress("body", 0x740, 0x748)


def module(coding: str = "0102", **identity: str) -> ModulePicture:
    items = tuple(Item(key.replace("_", "-"), key, value) for key, value in identity.items())
    return ModulePicture(ADDRESS, True, items, (Item("coding", "coding", raw=coding),))


def picture(kind: PictureKind, body: ModulePicture, *readings: Reading) -> Picture:
    return Picture(kind, 0.0, 1.0, (body,), readings)


def reading(signal: str, value: float, unit: str) -> Reading:
    return Reading(signal, value, unit, 0.0, 0.0, Origin.BENCH)


RECEIVED, FOUND = PictureKind.AS_RECEIVED, PictureKind.AS_FOUND


@pytest.mark.parametrize(
    ("coding", "grade"), [("0000", "required"), ("FFFF", "required"), ("00FF", ""), ("0102", ""), ("", "")]
)
def test_blank_coding_is_coded(coding: str, grade: str) -> None:
    found = find_needs((), (picture(FOUND, module(coding)),)).needs
    assert [n.grade.value for n in found] == ([grade] if grade else [])


@pytest.mark.parametrize(
    ("key", "grade"), [("serial_number", "required"), ("part_number", "required"), ("software_number", "advisable")]
)
def test_another_module_or_software_is_noticed(key: str, grade: str) -> None:
    pictures = (picture(RECEIVED, module(**{key: "A"})), picture(FOUND, module(**{key: "B"})))
    found = find_needs((), pictures).needs
    assert [(n.function, n.grade.value) for n in found] == [("module-coding", grade)]
    assert "A, now B" in found[0].reasons[0].text
    assert not find_needs((), (pictures[0], picture(FOUND, module(**{key: "A"})))).needs


def test_low_supply_is_seen_to_first() -> None:
    supply = reading("control-module-voltage", 12.1, "V")
    low = find_needs((), (picture(FOUND, module(), supply, reading("engine-speed", 0.0, "rpm")),)).notes
    assert low[0].text.startswith("supply 12.1 V with the engine off")
    assert not find_needs((), (picture(FOUND, module(), supply, reading("engine-speed", 800.0, "rpm")),)).notes
