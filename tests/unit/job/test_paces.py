"""What a car has proved to bear: kept for that car and its kind of link only, and a stranger is met gently."""

from __future__ import annotations

from pathlib import Path

import pytest

from asleft.event.fold import fold
from asleft.job.paces import keep_pace, read_pace
from asleft.model.origin import Origin
from asleft.model.vin import parse_vin
from asleft.talk.pace import CarPace, ModulePace
from kit.events import demo_job

PACE = CarPace(8, 12, {"7E0": ModulePace(0.2, 3, {0xF190: 17})})


def test_it_comes_back_for_this_car_on_this_kind_of_link_only(tmp_path: Path) -> None:
    state = fold(demo_job())
    assert state.vehicle is not None
    vin = state.vehicle.vin
    keep_pace(tmp_path, state, PACE)
    assert read_pace(tmp_path, vin, state.origin) == PACE
    others = [origin for origin in Origin if origin is not state.origin]
    assert all(read_pace(tmp_path, vin, origin) == CarPace() for origin in others)
    other = parse_vin(vin.text[:-1] + ("0" if vin.text[-1] != "0" else "1"))
    assert read_pace(tmp_path, other, state.origin) == CarPace()
    assert all(vin.text not in path.name for path in tmp_path.rglob("*"))


@pytest.mark.parametrize("content", [b"", b"{", b'{"in_flight": "many"}', b"\xff"])
def test_a_damaged_file_makes_a_stranger(tmp_path: Path, content: bytes) -> None:
    state = fold(demo_job())
    assert state.vehicle is not None
    keep_pace(tmp_path, state, PACE)
    next((tmp_path / "cars").iterdir()).write_bytes(content)
    assert read_pace(tmp_path, state.vehicle.vin, state.origin) == CarPace()


def test_another_car_than_the_orders_teaches_nothing(tmp_path: Path) -> None:
    import dataclasses

    from kit.events import say

    state = dataclasses.replace(fold(demo_job()), notes=(say("vin.differs", "another car"),))
    keep_pace(tmp_path, state, PACE)
    assert not (tmp_path / "cars").exists()
