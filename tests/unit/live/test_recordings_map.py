"""Column maps: every complaint names file, line, column, why and what to write; proposals ask."""

from __future__ import annotations

from pathlib import Path

import pytest

from asleft.codec.obd.parameters import SIGNALS
from asleft.live.recordings import MAPS, Cells, EngineOff, TimeForm, TimeResolution, guess_map, load_map, parse_map
from asleft.model.errors import Code, InputError
from asleft.model.units import UNITS

GOOD = """time: {column: t}
columns:
  a: {signal: engine-speed, unit: rpm}
"""

BAD = [
    ("- a\n", 1, "is not a map of fields"),
    ("", 1, "nothing in it"),
    ("a: [1\n", 2, "not YAML"),
    ("a: &x 1\nb: *x\n", 2, "alias"),
    ("time: {column: t}\ntime: {column: u}\n", 2, "stands twice"),
    ("columns: {}\n", 1, "'time' is missing; add `time:`"),
    ("time: {column: t}\n", 1, "'columns' is missing"),
    (GOOD.replace("column: t", "colum: t"), 1, "did you mean 'column'?"),
    (GOOD.replace("{column: t}", "t"), 1, "write {column, form"),
    (GOOD.replace("{column: t}", "{form: seconds}"), 1, "'column' is missing"),
    (GOOD.replace("{column: t}", "{column: [t]}"), 1, "is not one text"),
    (GOOD.replace("{column: t}", "{column: t, form: sekonds}"), 1, "did you mean 'seconds'?"),
    (GOOD.replace("{column: t}", "{column: t, uncertainty_s: -1}"), 1, "0 or more"),
    (GOOD.replace("engine-speed", "engine-sped"), 3, "a: there is no signal 'engine-sped'; write the signal"),
    (GOOD.replace("engine-speed", "engine-sped"), 3, "did you mean 'engine-speed'?"),
    (GOOD.replace("unit: rpm", "unit: RPM"), 3, "there is no unit 'RPM'"),
    (
        GOOD.replace("unit: rpm", "unit: °C"),
        3,
        "°C measures temperature, engine-speed is rotation; write for example rpm",
    ),
    (GOOD.replace("unit: rpm", "unit: rpm, optional: perhaps"), 3, "write true or false"),
    (GOOD.replace("unit: rpm", "unit: rpm, resolution: fine"), 3, "write a number"),
    (GOOD + "  b: {signal: engine-speed, unit: rpm}\n", 4, "is read from 'a' already"),
    (GOOD + "cells: kept\n", 4, "write one of fresh, held"),
    (GOOD + "ignore: {a: 1}\n", 4, "is not a list"),
    (GOOD + "encoding: klingon\n", 1, "write utf-8 or latin-1"),
    (GOOD + 'decimal: ","\n', 1, "do not go together"),
    ("[" * 50 + "]" * 50, 1, "nested too deeply"),
    ("x" * 300_000, 1, "more than"),
]


@pytest.mark.parametrize(("text", "line", "words"), BAD)
def test_complaints(text: str, line: int, words: str) -> None:
    with pytest.raises(InputError) as caught:
        parse_map(text, "own.yaml")
    assert caught.value.code is Code.COLUMN_MAP_BAD
    assert caught.value.where == f"own.yaml:{line}"
    assert words in caught.value.detail, caught.value.detail


def test_a_file_that_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(InputError):
        load_map(tmp_path / "absent.yaml")


def test_the_maps_that_come_along() -> None:
    maps = {path.stem: load_map(path) for path in MAPS.glob("*.yaml")}
    petrol = maps["petrol-run-time"]
    assert petrol.time.resolution is TimeResolution.WHOLE_SECOND
    assert petrol.time.engine_off is EngineOff.ORDER_ONLY
    assert petrol.cells is Cells.HELD
    assert maps["clock-time-held"].time.form is TimeForm.CLOCK
    assert maps["clock-time-held"].turn_rows == 10


def test_a_proposal_by_words() -> None:
    header = ["Time", "Engine RPM [RPM]", "Intake Manifold Absolute Pressure [kPa]", "Coolant temp (°F)", "MAF [g/s]",
              "Throttle Position", "Accelerator Pedal Position D [%]", "STFT bank 1 [%]", "wibble"]  # fmt: skip
    proposal = guess_map(header, ["08:24:29.866", *[""] * 8])
    found = {column.column: (column.signal, column.unit) for column in proposal.column_map.columns}
    assert found == {
        "Engine RPM [RPM]": ("engine-speed", "rpm"),
        "Intake Manifold Absolute Pressure [kPa]": ("manifold-pressure", "kPa"),
        "Coolant temp (°F)": ("coolant-temperature", "°F"),
        "MAF [g/s]": ("mass-air-flow", "g/s"),
        "Throttle Position": ("throttle-absolute", "%"),
        "Accelerator Pedal Position D [%]": ("accelerator-pedal-d", "%"),
        "STFT bank 1 [%]": ("short-term-trim-1", "%"),
    }
    assert proposal.column_map.time.form is TimeForm.CLOCK
    assert proposal.column_map.ignore == ("wibble",)
    asked = [question.text for question in proposal.questions]
    assert any("wibble" in text for text in asked)
    assert any("Throttle Position" in text for text in asked)


def test_a_proposal_without_a_time_asks_for_it() -> None:
    proposal = guess_map(["engine-speed [rpm]", "Time since codes cleared"])
    assert proposal.column_map.columns[0].signal == "engine-speed"
    assert any(question.id == "recording.ask.time" for question in proposal.questions)


DOC = Path(__file__).resolve().parents[3] / "docs" / "column-map.md"


def test_the_document_lists_every_signal_and_unit_and_its_example_is_a_map() -> None:
    text = DOC.read_text("utf-8")
    assert [row for s in SIGNALS.values() if (row := f"| `{s.id}` | {s.name} | {s.unit} |") not in text] == []
    assert [symbol for symbol in UNITS if f"`{symbol}`" not in text] == []
    example = parse_map(text.split("```yaml\n")[1].split("```")[0], "column-map.md")
    assert example.cells is Cells.HELD
    assert len(example.columns) == 3
