"""CSV recordings: read by a map, complaints with file, line and column, written and read back exactly."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from asleft.live.recordings import Recording, parse_map, read_csv, read_recording, write_csv
from asleft.model.errors import Code, InputError
from asleft.model.origin import ClockKind, Origin
from asleft.model.reading import Series

MAP = """
name: test
time: {column: t}
columns:
  speed: {signal: engine-speed, unit: rpm}
  ect: {signal: coolant-temperature, unit: °F, resolution: 1.8}
"""
WHOLE = """
time: {column: t, resolution: whole-second, engine_off: order-only}
cells: held
columns:
  speed: {signal: engine-speed, unit: rpm}
"""


def read(folder: Path, text: str, map_text: str = MAP) -> Recording:
    path = folder / "run.csv"
    path.write_bytes(text.encode())
    return read_csv(path, parse_map(map_text, "run.map.yaml"))


def complaint(folder: Path, text: str, map_text: str = MAP) -> InputError:
    with pytest.raises(InputError) as caught:
        read(folder, text, map_text)
    return caught.value


def test_values_units_times_and_origin(tmp_path: Path) -> None:
    recording = read(tmp_path, "t,speed,ect\n0,700,180\n0.5,,-40\n1,710.5,\n")
    speed, coolant = recording.signals["engine-speed"], recording.signals["coolant-temperature"]
    assert speed.times_s == (0.0, 1.0)
    assert speed.values == (700.0, 710.5)
    assert coolant.times_s == (0.0, 0.5)
    assert coolant.values == pytest.approx((82.2222, -40.0), abs=1e-4)
    assert coolant.resolution == pytest.approx(1.0)
    assert (recording.origin, recording.clock) == (Origin.REPLAY, ClockKind.RECORDING)


def test_trailing_commas_spaces_byte_order_mark_and_blank_lines(tmp_path: Path) -> None:
    recording = read(tmp_path, "\ufeff t , speed ,ect\r\n 0, 700 ,90,\r\n\r\n1, 701,91,\r\n,,,\r\n")
    assert recording.signals["engine-speed"].values == (700.0, 701.0)


def test_a_cut_last_row_is_left_out_and_said(tmp_path: Path) -> None:
    recording = read(tmp_path, "t,speed,ect\n0,700,90\n1,701")
    assert recording.signals["engine-speed"].values == (700.0,)
    assert [note.id for note in recording.notes] == ["recording.cut-row"]


def test_decimal_commas(tmp_path: Path) -> None:
    recording = read(tmp_path, "t;speed;ect\n0,5;700,25;90\n", MAP + 'delimiter: ";"\ndecimal: ","\n')
    assert recording.signals["engine-speed"].times_s == (0.5,)
    assert recording.signals["engine-speed"].values == (700.25,)


def test_words_for_no_value(tmp_path: Path) -> None:
    recording = read(tmp_path, "t,speed,ect\n0,-,90\n1,700,n/a\n", MAP + 'absent: ["-", n/a]\n')
    assert recording.signals["engine-speed"].values == (700.0,)


def test_equal_whole_seconds_are_one_burst(tmp_path: Path) -> None:
    """A held cell counts when it changes, and once in a burst in which it does not."""
    recording = read(tmp_path, "t,speed\n0,0\n0,0\n0,650\n2,650\n2,650\n2,660\n4,660\n4,660\n6,660\n7,670\n", WHOLE)
    speed = recording.signals["engine-speed"]
    assert recording.key_on_rows == 2
    assert recording.key_on == {"engine-speed": (0.0, 0.0)}
    assert speed.times_s == (0.0, 2.0, 4.0, 6.0, 7.0)
    assert speed.values == (650.0, 660.0, 660.0, 660.0, 670.0)
    assert speed.u_time_s == 2.0


def test_a_row_with_running_time_is_not_key_on(tmp_path: Path) -> None:
    recording = read(tmp_path, "t,speed\n0,0\n1,0\n2,0\n3,700\n", WHOLE)
    assert recording.key_on_rows == 1


def test_a_recording_with_the_key_on_only(tmp_path: Path) -> None:
    recording = read(tmp_path, "t,speed\n0,0\n0,0\n", WHOLE)
    assert recording.key_on_rows == 2
    assert len(recording.signals["engine-speed"]) == 0


def test_clock_time_over_midnight(tmp_path: Path) -> None:
    text = MAP.replace("column: t", "column: t, form: clock")
    recording = read(tmp_path, "t,speed,ect\n23:59:59.500,1,\n00:00:00.250,2,\n00:00:01,3,\n", text)
    assert recording.signals["engine-speed"].times_s == pytest.approx((0.0, 0.75, 1.5))
    assert recording.start_wall == "23:59:59.500"


@pytest.mark.parametrize(("first", "second"), [
    ("2031-04-17T08:00:00Z", "2031-04-17T10:00:30+02:00"), ("2031-04-17 23:59:45", "2031-04-18 00:00:15")])  # fmt: skip
def test_date_and_time(tmp_path: Path, first: str, second: str) -> None:
    text = MAP.replace("column: t", "column: t, form: date-time")
    recording = read(tmp_path, f"t,speed,ect\n{first},1,\n{second},2,\n", text)
    assert recording.signals["engine-speed"].times_s == (0.0, 30.0)


def test_gaps_are_named(tmp_path: Path) -> None:
    rows = "".join(f"{t / 10},700,90\n" for t in [*range(50), *range(150, 200)])
    recording = read(tmp_path, "t,speed,ect\n" + rows)
    assert [(gap.start_s, gap.stop_s) for gap in recording.gaps] == [(4.9, 15.0)]
    assert recording.signals["engine-speed"].gaps == 100


def test_values_that_cannot_be_are_said(tmp_path: Path) -> None:
    recording = read(tmp_path, "t,speed,ect\n0,20000,90\n")
    assert "cannot be" in recording.notes[0].text


@pytest.mark.parametrize(("text", "where", "words"), [
    ("t,speed,ect\n0,seven,90\n", "run.csv:2", ("speed", "'seven' is no number", "absent")),
    ("t,speed,ect\n0,nan,90\n", "run.csv:2", ("speed", "is no number")),
    ("t,speed,ect\n0,1,2\nlate,700,90\n1,1,1\n", "run.csv:3", ("t:", "'late' is no time", "form: seconds")),
    ("t,speed,ect\n1,1,1\n0,1,1\n", "run.csv:3", ("time goes back by 1 s", "split the file")),
    ("t,speed,ect\n0,700\n1,700,90\n", "run.csv:2", ("2 cells where the header has 3",)),
    ("t,speed,ect\n0,1,2,3\n1,1,1\n", "run.csv:2", ("4 cells where the header has 3",)),
    ("t,speed,ect,speed\n0,1,2,3\n", "run.csv:1", ("two columns have this name",)),
    ("t,speed,ect\n", "run.csv", ("no row of values",)),
    ("", "run.csv:1", ("the first line names the columns",)),
])  # fmt: skip
def test_complaints_name_the_place(tmp_path: Path, text: str, where: str, words: tuple[str, ...]) -> None:
    error = complaint(tmp_path, text)
    assert error.code is Code.RECORDING_UNREADABLE
    assert error.where == where
    assert all(word in error.detail for word in words), error.detail


def test_bytes_that_are_not_text(tmp_path: Path) -> None:
    path = tmp_path / "run.csv"
    path.write_bytes("t,speed,ect\n0,1,2\n1,2,°".encode("latin-1"))
    with pytest.raises(InputError) as caught:
        read_csv(path, parse_map(MAP))
    assert caught.value.where == "run.csv:3"
    assert "latin-1" in caught.value.detail
    with pytest.raises(InputError):
        read_csv(tmp_path / "absent.csv", parse_map(MAP))


def test_a_map_that_does_not_fit_names_its_own_line(tmp_path: Path) -> None:
    error = complaint(tmp_path, "t,sped,ect\n0,1,2\n")
    assert error.code is Code.COLUMN_MAP_BAD
    assert error.where == "run.map.yaml:5"
    assert "speed: run.csv has no such column; write 'sped'?" in error.detail


def test_whole_seconds_with_fractions_are_refused(tmp_path: Path) -> None:
    error = complaint(tmp_path, "t,speed\n0,0\n1.5,700\n", WHOLE)
    assert (error.code, error.where) == (Code.COLUMN_MAP_BAD, "run.map.yaml:2")
    assert "resolution: exact" in error.detail


def test_order_only_needs_the_engine_speed(tmp_path: Path) -> None:
    error = complaint(tmp_path, "t,speed\n0,0\n", WHOLE.replace("engine-speed, unit: rpm", "run-time, unit: s"))
    assert "engine-speed" in error.detail


NUMBERS = st.floats(allow_nan=False, allow_infinity=False, width=64)
SAMPLES = st.lists(st.tuples(st.floats(0, 1e6), NUMBERS), max_size=12).map(
    lambda pairs: sorted(pairs, key=lambda p: p[0])
)


@given(speed=SAMPLES, coolant=SAMPLES.filter(bool), u=st.floats(0, 10))
def test_what_is_written_is_read_back_exactly(
    tmp_path_factory: pytest.TempPathFactory,
    speed: list[tuple[float, float]],
    coolant: list[tuple[float, float]],
    u: float,
) -> None:
    signals = {
        "engine-speed": Series(
            "engine-speed", "rpm", tuple(t for t, _ in speed), tuple(v for _, v in speed), 0.25, 1.5, u
        ),
        "coolant-temperature": Series(
            "coolant-temperature", "°C", tuple(t for t, _ in coolant), tuple(v for _, v in coolant), 1.0, 0.0, u
        ),
    }
    path = tmp_path_factory.mktemp("out") / "run.csv"
    write_csv(path, signals)
    again = read_recording(path)
    for signal, series in signals.items():
        found = again.signals[signal]
        assert (found.times_s, found.values) == (series.times_s, series.values)
        assert (found.unit, found.resolution, found.accuracy, found.u_time_s) == (
            series.unit, series.resolution, series.accuracy, series.u_time_s)  # fmt: skip


def test_no_map_fits(tmp_path: Path) -> None:
    path = tmp_path / "odd.csv"
    path.write_text("t,Engine RPM,wibble\n0,1,2\n")
    with pytest.raises(InputError) as caught:
        read_recording(path)
    assert caught.value.code is Code.COLUMN_MAP_BAD
    assert "odd.csv.map.yaml" in caught.value.detail
    assert "Engine RPM → engine-speed" in caught.value.detail
