"""Maps of cars: what they give, and what of them is refused with file, line, field and what to write instead."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from asleft.book.car_map import CarMap, load_car_map, read_car_map
from asleft.book.files import ProcedureError
from asleft.practice.scene import ALDRA

DOCS = Path(__file__).parents[3] / "docs" / "maps"
FILE = DOCS / "aldra-1.6.yaml"
TEXT = FILE.read_text("utf-8")


def read(text: str) -> CarMap:
    return read_car_map(text.encode(), "map.yaml", DOCS)


def test_the_example_is_the_car_of_the_demo() -> None:
    pytest.importorskip("cantools")
    found = load_car_map(FILE)
    assert found.modules == ALDRA
    assert [(m.signal.id, m.signal.unit, m.address.name, m.item.identifier) for m in found.mapped] == [
        ("learned-lower-stop", "%", "engine", 0x4C21)
    ]
    assert [(h.signal, h.unit, h.message) for h in found.heard] == [
        ("steering-angle", "°", "Steering"),
        ("vehicle-speed", "km/h", "Motion"),
    ]
    assert len(found.sha256) == 64


#: Exchange this for that; lines further down where it is complained of; part of the sentence.
WRONG = [
    ('request: "7E0"', 'request: "8E0"', 0, "no frame identifier of 11 bits"),
    ('request: "7E0"', "request: 7E0", 0, "quotes"),
    ('request: "7E0"', 'request: "7EG"', 0, "no frame identifier"),
    ('response: "7E8"', 'response: "7E0"', 0, "answer itself"),
    ('request: "7E0"', 'request: "7E0"\n    address: "11"', 1, "stands alone"),
    ('request: "7E0"', 'request: "7E0"\n    request-byte: "1F1"', 1, "no byte"),
    ("name: brakes\n", "name: engine\n", 0, "stands twice"),
    ('{key: learned-lower-stop, identifier: "4C21"', '{key: x, identifier: "4C2X"', 0, "hex"),
    ('identifier: "4C23", length: 2', 'identifier: "4C23", length: 9', 0, "cannot be a value"),
    ("signed: true, scale: 0.001", "signed: true, scale: 0", 0, "shows nothing"),
    ("unit: g/s", "unit: g/sec", 0, "no unit"),
    ("{signal: learned-lower-stop", "{signal: lower-stop-learnt", 0, "no signal"),
    ("{signal: steering-angle", "{signal: learned-lower-stop", 0, "already"),
    ("start: 2, length: 2, scale: 0.01}\n  - name", "length: 2, accuracy: -1}\n  - name", 0, "no sign"),
    ("start: 2, length: 2, scale: 0.01}\n  - name", "length: 2, low: 5, high: 1}\n  - name", 0, "not below"),
    ("applies: {make: Aldra,", "applies: {", 0, "no make"),
    ("applies: {make: Aldra,", "applies: {make: Aldra, engine: A16,", 0, "not known when"),
    ("description: aldra-1.6.dbc", "description: ../aldra-1.6.dbc", 0, "leads elsewhere"),
    ("description: aldra-1.6.dbc", "description: nothing.dbc", 0, "not a network description"),
    ("name: WheelAngle", "name: WheelAngel", 0, "has no WheelAngel"),
    ("frame: Motion", "frame: Motoin", 0, "no frame Motoin"),
    (', description-unit: "°"', "", 0, "say description_unit"),
    ("wide-obd: false", "wide-odb: false", 0, "wide-obd"),
]


@pytest.mark.parametrize(("old", "new", "below", "told"), WRONG, ids=[w[3] + " " + str(n) for n, w in enumerate(WRONG)])
def test_what_cannot_be_is_refused_where_it_stands(old: str, new: str, below: int, told: str) -> None:
    pytest.importorskip("cantools")
    assert TEXT.count(old) == 1, old
    line = TEXT[: TEXT.index(old)].count("\n") + 1 + below
    with pytest.raises(ProcedureError) as caught:
        read(TEXT.replace(old, new))
    assert (line, True) in [(r.line, told in r.text) for r in caught.value.remarks], [
        r.text for r in caught.value.remarks
    ]
    assert all(r.file == "map.yaml" for r in caught.value.remarks)


def test_all_that_is_wrong_is_said_at_once() -> None:
    text = TEXT.replace('request: "7E0"', 'request: "ZZ"').replace("unit: g/s", "unit: furlong")
    with pytest.raises(ProcedureError) as caught:
        read(text)
    assert [r.field for r in caught.value.remarks] == ["modules[1].request", "modules[1].learned[2].unit"]


def test_other_ways_of_addressing() -> None:
    text = """id: other
title: Brevik, older
applies: {make: Brevik}
source: invented
modules:
  - {name: engine, address: "11"}
  - {name: body, request: "6F1", response: "640", request-byte: "40", response-byte: F1}
  - {name: gearbox, request: 18DA10F1, response: 18DAF110, wide: true}
"""
    engine, body, gearbox = (m.address for m in read(text).modules.modules)
    assert (engine.request_id, engine.response_id) == (0x11, 0x11)
    assert body.text == "body 6F1:40/640:F1"
    assert gearbox.extended
    assert gearbox.request_id == 0x18DA10F1


@given(
    number=st.integers(0, 0xFFFF),
    raw=st.integers(-(2**15), 2**15 - 1),
    scale=st.sampled_from((0.01, 0.5, 1.0, -0.1)),
    start=st.integers(0, 4),
)
def test_a_value_reads_as_the_map_says(number: int, raw: int, scale: float, start: int) -> None:
    """Any identifier, place and step: the value is raw times step, whatever stands around it."""
    line = f'{{signal: yaw-rate, identifier: "{number:04X}", start: {start}, length: 2, signed: true, scale: {scale}}}'
    text = (
        "id: x\ntitle: x\napplies: {make: x}\nsource: x\nmodules:\n"
        f'  - {{name: a, request: "100", response: "101", signals: [{line}]}}\n'
    )
    (mapped,) = read(text).mapped
    data = bytes(start) + raw.to_bytes(2, "big", signed=True) + b"\xff"
    value = mapped.read(data)
    assert value is not None
    assert value.value == pytest.approx(raw * scale)
    assert value.unit == "°/s"
    assert mapped.item.identifier == number
    assert mapped.read(data[: start + 1]) is None
