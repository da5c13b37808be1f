"""Parquet: the same series back, other people's tables by a map; parts that survive a kill."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from asleft.live.recordings import ChunkedRecording, parse_map, read_parts, read_recording, write_parquet
from asleft.model.errors import Code, InputError
from asleft.model.origin import Origin
from asleft.model.reading import Absence, AbsenceKind, Reading, Series

pyarrow = pytest.importorskip("pyarrow")

SIGNALS = {
    "engine-speed": Series("engine-speed", "rpm", (0.1, 0.2, 0.4), (700.25, 701.5, 699.0), 0.25, 1.0, 0.05, 2),
    "yaw-rate": Series("yaw-rate", "°/s", (0.0, 5.0), (0.01, -0.02), 0.01, 0.1),
    "fuel-level": Series("fuel-level", "%", (), (), 0.4),
}


def test_round_trip_with_all_that_is_known_of_a_signal(tmp_path: Path) -> None:
    path = tmp_path / "run.parquet"
    write_parquet(path, SIGNALS)
    again = read_recording(path)
    assert again.signals == SIGNALS
    assert [(gap.start_s, gap.stop_s) for gap in again.gaps] == [(0.4, 5.0)]


@settings(max_examples=25)
@given(st.lists(st.tuples(st.floats(0, 1e6), st.floats(allow_nan=False, allow_infinity=False)), max_size=20))
def test_every_number_comes_back_as_itself(tmp_path_factory: pytest.TempPathFactory, rows: list) -> None:
    path = tmp_path_factory.mktemp("p") / "run.parquet"
    rows.sort()
    series = Series("engine-speed", "rpm", tuple(t for t, _ in rows), tuple(v for _, v in rows), 0.25)
    write_parquet(path, {"engine-speed": series})
    assert read_recording(path).signals["engine-speed"] == series


MAP = """
name: theirs
time: {column: t, form: seconds}
columns:
  rpm: {signal: engine-speed, unit: rpm, resolution: 0.25}
  ect: {signal: coolant-temperature, unit: "°F"}
"""


class TestTheirs:
    def write(self, path: Path, columns: dict[str, list]) -> None:
        import pyarrow.parquet as parquet

        parquet.write_table(pyarrow.table(columns), path)

    def test_a_wide_table_by_a_map(self, tmp_path: Path) -> None:
        path = tmp_path / "theirs.parquet"
        self.write(path, {"t": [0.0, 0.5, 1.0], "rpm": [700, None, 710], "ect": [194.0, float("nan"), 195.8]})
        (tmp_path / "theirs.parquet.map.yaml").write_text(MAP)
        read = read_recording(path)
        assert read.signals["engine-speed"].values == (700.0, 710.0)
        assert read.signals["coolant-temperature"].values == pytest.approx((90.0, 91.0))

    @pytest.mark.parametrize(
        ("columns", "code"),
        [
            ({"t": [0.0], "rpm": [1]}, Code.COLUMN_MAP_BAD),
            ({"t": [0.0, None], "rpm": [1, 2], "ect": [1, 2]}, Code.RECORDING_UNREADABLE),
            ({"t": [2.0, 1.0], "rpm": [1, 2], "ect": [1, 2]}, Code.RECORDING_UNREADABLE),
            ({"t": [0.0], "rpm": ["fast"], "ect": [1]}, Code.RECORDING_UNREADABLE),
            ({"t": [0.0], "rpm": [float("inf")], "ect": [1]}, Code.RECORDING_UNREADABLE),
        ],
    )
    def test_what_does_not_fit_is_said(self, tmp_path: Path, columns: dict[str, list], code: Code) -> None:
        path = tmp_path / "theirs.parquet"
        self.write(path, columns)
        with pytest.raises(InputError) as error:
            read_recording(path, parse_map(MAP, "m"))
        assert error.value.code is code

    def test_without_a_map_its_columns_are_named(self, tmp_path: Path) -> None:
        path = tmp_path / "theirs.parquet"
        self.write(path, {"t": [0.0], "rpm": [1]})
        with pytest.raises(InputError, match="its columns are t, rpm"):
            read_recording(path)

    @pytest.mark.parametrize("content", [b"", b"PAR1", b"PAR1" + bytes(200) + b"PAR1"])
    def test_no_parquet_file(self, tmp_path: Path, content: bytes) -> None:
        path = tmp_path / "x.parquet"
        path.write_bytes(content)
        with pytest.raises(InputError) as error:
            read_recording(path)
        assert error.value.code is Code.RECORDING_UNREADABLE


def test_the_library_is_imported_only_when_needed() -> None:
    code = "import sys; import asleft.live.recordings; sys.exit('pyarrow' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


def reading(t: float, v: float | None, name: str = "engine-speed") -> Reading:
    absence = Absence(AbsenceKind.NOT_READ) if v is None else None
    return Reading(name, v, "rpm", 0.1, t, Origin.BENCH, absence=absence)


@pytest.mark.parametrize("kind", ["csv", "mf4", "parquet"])
class TestParts:
    def test_parts_become_one_file(self, tmp_path: Path, kind) -> None:
        kept = ChunkedRecording(tmp_path / "parts", kind, chunk_s=1.0)
        for i in range(35):
            kept.add(reading(0.1 * i, 700.0 + i % 7))
        kept.add(reading(3.5, None))
        assert len(list((tmp_path / "parts").glob(f"part-*.{kind}"))) == 3
        whole = kept.close(tmp_path / f"run.{kind}")
        assert len(whole.signals["engine-speed"]) == 35
        assert not (tmp_path / "parts").exists()
        if kind != "mf4":
            assert read_recording(tmp_path / f"run.{kind}").signals["engine-speed"].resolution == 0.25

    def test_a_part_half_written_is_not_read_and_a_spoilt_one_is_named(self, tmp_path: Path, kind) -> None:
        kept = ChunkedRecording(tmp_path, kind, chunk_s=0.9)
        for i in range(30):
            kept.add(reading(0.1 * i, 700.0))
        kept.flush()
        (tmp_path / f"writing.{kind}").write_bytes(b"half")
        before = read_parts(tmp_path)
        assert (before.parts, len(before.signals["engine-speed"]), before.notes) == (3, 30, ())
        (tmp_path / f"part-00002.{kind}").write_bytes(b"\x00\xff")
        after = read_parts(tmp_path)
        assert (after.parts, len(after.signals["engine-speed"])) == (2, 20)
        assert f"part-00002.{kind} could not be read" in after.notes[0].text

    def test_parts_of_another_recording_are_not_mixed_in(self, tmp_path: Path, kind) -> None:
        kept = ChunkedRecording(tmp_path, kind)
        kept.add(reading(0.0, 700.0))
        kept.flush()
        with pytest.raises(InputError, match="parts of another recording"):
            ChunkedRecording(tmp_path, kind)


_WRITER = """
import sys, pathlib
from asleft.live.recordings import ChunkedRecording
from asleft.model.origin import Origin
from asleft.model.reading import Reading
kept = ChunkedRecording(pathlib.Path(sys.argv[1]), "parquet", chunk_s=1.0)
i = 0
while True:
    kept.add(Reading("engine-speed", 700.0 + i % 9, "rpm", 0.1, 0.1 * i, Origin.BENCH))
    i += 1
"""


def test_a_kill_at_any_moment_costs_no_part_that_has_its_name(tmp_path: Path) -> None:
    for turn in range(3):
        folder = tmp_path / str(turn)
        writer = subprocess.Popen([sys.executable, "-c", _WRITER, str(folder)])
        end = time.monotonic() + 30
        while len(list(folder.glob("part-*"))) < 5 + 3 * turn and time.monotonic() < end:
            os.sched_yield()
        writer.send_signal(signal.SIGKILL)
        writer.wait()
        read = read_parts(folder)
        assert read.notes == ()
        values = read.signals["engine-speed"].values
        assert len(values) >= 40
        assert values == tuple(700.0 + i % 9 for i in range(len(values))), "nothing lost between parts, nothing twice"


def test_no_parts(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="no part"):
        read_parts(tmp_path)
