"""MDF4: written and read back, complaints in our words. The library is imported only when needed."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from asleft.live.recordings import (
    Cells,
    Column,
    ColumnMap,
    TimeColumn,
    TimeForm,
    parse_map,
    read_mdf,
    read_recording,
    write_mdf,
)
from asleft.model.errors import Code, InputError
from asleft.model.reading import Series

SIGNALS = {
    "engine-speed": Series("engine-speed", "rpm", (0.1, 0.2, 0.4), (700.25, 701.5, 699.0), 0.25),
    "coolant-temperature": Series("coolant-temperature", "°C", (0.0, 5.0), (88.0, 89.0), 1.0, 2.0),
}


def test_round_trip(tmp_path: Path) -> None:
    path = tmp_path / "run.mf4"
    column_map = write_mdf(path, SIGNALS)
    again = read_recording(path, column_map)
    assert {s: (x.times_s, x.values, x.unit, x.resolution, x.accuracy) for s, x in again.signals.items()} == {
        s: (x.times_s, x.values, x.unit, x.resolution, x.accuracy) for s, x in SIGNALS.items()
    }
    assert [(gap.start_s, gap.stop_s) for gap in again.gaps] == [(0.4, 5.0)]


def test_a_map_file_for_mdf(tmp_path: Path) -> None:
    path = tmp_path / "run.mf4"
    write_mdf(path, SIGNALS)
    text = "time: {form: master}\ncolumns:\n  engine-speed: {signal: engine-speed, unit: rpm}\n"
    (tmp_path / "run.mf4.map.yaml").write_text(text)
    assert read_recording(path).signals["engine-speed"].values == (700.25, 701.5, 699.0)


MASTER = TimeColumn(form=TimeForm.MASTER)


@pytest.mark.parametrize(("column_map", "words"), [
    (ColumnMap("x", TimeColumn("t"), ()), "form: master"),
    (ColumnMap("x", MASTER, (), cells=Cells.HELD), "stands by itself"),
    (ColumnMap("x", MASTER, (Column("speed", "engine-speed", "rpm"),)), "no such channel"),
    (ColumnMap("x", MASTER, (Column("coolant-temperature", "coolant-temperature", "°F"),)), "the file says °C"),
])  # fmt: skip
def test_a_map_that_does_not_fit(tmp_path: Path, column_map: ColumnMap, words: str) -> None:
    path = tmp_path / "run.mf4"
    write_mdf(path, SIGNALS)
    with pytest.raises(InputError) as caught:
        read_mdf(path, column_map)
    assert caught.value.code is Code.COLUMN_MAP_BAD
    assert words in caught.value.detail


def test_a_file_that_is_no_mdf(tmp_path: Path) -> None:
    path = tmp_path / "run.mf4"
    path.write_bytes(b"MDF     but not really" * 40)
    with pytest.raises(InputError) as caught:
        read_mdf(path, parse_map("time: {form: master}\ncolumns: {}\n"))
    assert caught.value.code is Code.RECORDING_UNREADABLE


def test_the_library_is_not_imported_before_it_is_needed() -> None:
    code = "import sys, asleft.live.recordings; sys.exit('asammdf' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
