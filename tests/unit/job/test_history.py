"""History as faces use it: kept true, compared, counted, charted, given away and taken in, invoiced."""

from __future__ import annotations

import csv
import io
import json
import shutil
import zipfile
from functools import cache
from pathlib import Path
from tempfile import mkdtemp

import pytest
from hypothesis import given
from hypothesis import strategies as st
from typer.testing import CliRunner

from asleft.cli.app import app
from asleft.job.facts import previous_from
from asleft.job.history import Asked, History
from asleft.job.history_invoice import COLUMNS, guarded, invoice_csv
from asleft.job.history_parcel import ABOUT, RECORD, job_in, job_out
from asleft.job.records import export
from asleft.model.errors import InputError, RecordError
from asleft.record.plainzip import packed
from asleft.record.tail import stored_events
from asleft.record.verify import verify
from kit.events import VIN, demo_job, fail_job, hostile_job, interrupted_job
from kit.gallery import bodies, store

PROCEDURE = "throttle-stop-learn-by-routine"


@cache
def _shop() -> Path:
    folder = Path(mkdtemp(prefix="asleft-history-"))
    for number, job in {"J-1": demo_job, "J-2": fail_job, "J-3": interrupted_job, "J-4": demo_job}.items():
        store(folder, number, bodies(job()))
    return folder


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return Path(shutil.copytree(_shop(), tmp_path / "shop"))


def test_what_is_new_is_taken_in_and_only_then(folder: Path) -> None:
    history = History(folder)
    first = history.refresh()
    assert first is not None
    assert first.read == 4
    assert history.refresh() is None
    store(folder, "J-5", bodies(demo_job()))
    second = history.refresh()
    assert second is not None
    assert (second.read, second.same) == (1, 4)
    assert [job.number for job in history.search(Asked(number="J-5")).jobs] == ["J-5"]
    assert history.check().whole
    history.close()
    (folder / "history.db").unlink()
    again = History(folder)
    assert again.rebuild().read == 5
    assert again.check().whole


def test_the_previous_record_of_a_car_is_its_newest_closed_one(folder: Path) -> None:
    """J-3 is not closed; J-2 and J-4 are; another car, and a real one, have none."""
    (fact,) = previous_from(folder, VIN, "bench")
    number, head = fact.text.split(", head ")
    assert number in ("J-2", "J-4")
    assert head == stored_events(folder, number)[-1].hash
    assert previous_from(folder, VIN, "vehicle") == ()
    assert previous_from(folder, "A0ALDR16X6S000418", "bench") == ()


def test_a_shared_store_needs_a_name_for_this_folder(folder: Path) -> None:
    address = f"sqlite:///{folder / 'shared.db'}"
    with pytest.raises(InputError, match="ASLEFT_BAY"):
        History(folder, address).rebuild()
    assert History(folder, address, "bay 1").rebuild().read == 4


def test_a_car_side_by_side(folder: Path) -> None:
    history = History(folder)
    history.refresh()
    car = history.car(VIN)
    assert [whole.job.number for whole in car.jobs] == ["J-1", "J-2", "J-3", "J-4"]
    assert all(len(line.values) == 4 for line in car.lines)
    stop = next(line for line in car.lines if line.name == "learned lower stop")
    assert stop.module == "engine"
    assert all(line.changed == (len({v for v in line.values if v}) > 1) for line in car.lines)


def test_how_often_why_and_how_long(folder: Path) -> None:
    history = History(folder)
    history.refresh()
    found = history.procedure(PROCEDURE, "bench")
    assert (found.runs, found.failed.count, found.failed.of, found.not_completed.count) == (4, 1, 3, 1)
    assert found.failed.low is not None
    assert found.failed.high is not None
    assert 0.0 < found.failed.low < 1 / 3 < found.failed.high < 1.0
    assert "FAIL: rest-range" in [why.why for why in found.whys]
    assert found.times.n == 3
    assert history.procedure(PROCEDURE).runs == 0  # a bench car says nothing of real ones
    assert history.usual_seconds(PROCEDURE, "bench") is None  # three are too few
    for number in ("J-5", "J-6"):
        store(folder, number, bodies(demo_job()))
    history.refresh()
    assert history.usual_seconds(PROCEDURE, "bench") == pytest.approx(
        history.procedure(PROCEDURE, "bench").times.median_s
    )
    assert history.usual_seconds(PROCEDURE, "vehicle") is None
    with pytest.raises(InputError):
        history.procedure(PROCEDURE, "everything")


def test_a_chart_of_few_values_has_no_limits(folder: Path) -> None:
    history = History(folder)
    history.refresh()
    chart = history.chart_judged(PROCEDURE, "rest-range", "bench")
    assert [point.value for point in chart.points] == [0.39, 2.75, 0.39]
    assert chart.limits is None
    assert "too few values" in chart.svg()
    assert history.chart_judged(PROCEDURE, "no-such", "bench").svg().startswith("<svg")


# -- out and in ------------------------------------------------------------------------------------------------------


def test_a_job_goes_out_and_comes_in_whole(folder: Path, tmp_path: Path) -> None:
    about = job_out(folder, "J-1", tmp_path / "J-1.job.zip")
    taken = job_in(tmp_path / "other", tmp_path / "J-1.job.zip")
    assert (taken.job, taken.head, taken.new) == ("J-1", about.head, True)
    assert [k.stored for k in stored_events(tmp_path / "other", "J-1")] == [
        k.stored for k in stored_events(folder, "J-1")
    ]
    assert [k.event for k in stored_events(tmp_path / "other", "J-1")] == [
        k.event for k in stored_events(folder, "J-1")
    ]
    assert not job_in(tmp_path / "other", tmp_path / "J-1.job.zip").new
    again = job_out(tmp_path / "other", "J-1", tmp_path / "again.zip")
    assert again.head == about.head
    with zipfile.ZipFile(tmp_path / "again.zip") as archive, zipfile.ZipFile(tmp_path / "J-1.job.zip") as first:
        assert archive.read(RECORD) == first.read(RECORD)  # still signed by the workshop it came from
        (tmp_path / RECORD).write_bytes(archive.read(RECORD))
    assert verify(tmp_path / RECORD).intact
    history = History(tmp_path / "other")
    history.refresh()
    assert history.job("J-1").job.vin == VIN


def test_a_redacted_job_holds_no_personal_text(folder: Path, tmp_path: Path) -> None:
    job_out(folder, "J-1", tmp_path / "r.zip", redacted=True)
    assert VIN.encode() not in (tmp_path / "r.zip").read_bytes()
    assert job_in(tmp_path / "other", tmp_path / "r.zip").new
    history = History(tmp_path / "other")
    history.refresh()
    assert history.job("J-1").job.vin == ""


def test_what_does_not_check_or_is_open_or_another_is_refused_whole(folder: Path, tmp_path: Path) -> None:
    job_out(folder, "J-1", tmp_path / "good.zip")
    good = (tmp_path / "good.zip").read_bytes()
    with zipfile.ZipFile(io.BytesIO(good)) as archive:
        members = {name: archive.read(name) for name in archive.namelist()}
    record = bytearray(members[RECORD])
    record[record.index(b"throttle")] ^= 1
    strange = {**members, "documents/" + "0" * 64: b"not what its name says"}
    bads = [
        packed({**members, RECORD: bytes(record)}),
        good[:-40],
        b"nothing",
        packed(strange),
        packed({ABOUT: members[ABOUT]}),
        packed({**members, ABOUT: b"{}"}),
        packed({**members, "x": b""}),
    ]
    for bad in bads:
        (tmp_path / "bad.zip").write_bytes(bad)
        with pytest.raises(RecordError):
            job_in(tmp_path / "other", tmp_path / "bad.zip")
        assert not (tmp_path / "other" / "papers").exists()
    store(folder, "J-5", bodies(demo_job())[:-1])
    job_out(folder, "J-5", tmp_path / "open.zip")
    with pytest.raises(RecordError, match="closed"):
        job_in(tmp_path / "other", tmp_path / "open.zip")
    store(tmp_path / "third", "J-1", bodies(fail_job()))
    with pytest.raises(RecordError, match="other events"):
        job_in(tmp_path / "third", tmp_path / "good.zip")
    with pytest.raises(RecordError, match="job"):
        job_out(folder, "J-9", tmp_path / "x.zip")


def test_out_takes_the_signed_record_that_stands(folder: Path, tmp_path: Path) -> None:
    (folder / "papers").mkdir()
    export(folder, "J-1", folder / "papers" / "J-1.record.zip")
    job_out(folder, "J-1", tmp_path / "o.zip", report=False)
    with zipfile.ZipFile(tmp_path / "o.zip") as archive:
        assert archive.read(RECORD) == (folder / "papers" / "J-1.record.zip").read_bytes()


# -- invoice ---------------------------------------------------------------------------------------------------------


def test_an_invoice_says_time_procedures_and_verdicts(folder: Path) -> None:
    history = History(folder)
    history.refresh()
    rows = list(csv.DictReader(io.StringIO(invoice_csv([history.job("J-1"), history.job("J-2")]))))
    assert {row["job"] for row in rows} == {"J-1", "J-2"}
    runs = [row for row in rows if row["procedure"] == PROCEDURE]
    assert [row["verdict"] for row in runs] == ["PASS", "FAIL"]
    seconds = history.job("J-1").runs[0].seconds
    assert seconds is not None
    assert float(runs[0]["minutes"]) == pytest.approx(seconds / 60.0, abs=0.051)


@given(st.text(max_size=12))
def test_no_cell_is_a_formula(text: str) -> None:
    cell = guarded(text)
    assert cell in (text, "'" + text)
    assert not cell.strip(" \u00a0\ufeff").startswith(("=", "+", "-", "@", "\t", "\r", "\n"))


def test_a_hostile_job_gives_no_formula(tmp_path: Path) -> None:
    store(tmp_path, "J-1", bodies(hostile_job('=HYPERLINK("http://x","y")')))
    history = History(tmp_path)
    history.refresh()
    rows = list(csv.reader(io.StringIO(invoice_csv([history.job("J-1")]))))
    assert all(len(row) == len(COLUMNS) for row in rows)
    cells = [cell for row in rows[1:] for cell in row]
    assert any(cell.startswith("'=") for cell in cells)
    assert not any(cell.startswith("=") for cell in cells)


# -- commands --------------------------------------------------------------------------------------------------------


def said(folder: Path, *words: str, code: int = 0) -> str:
    result = CliRunner().invoke(app, ["history", *words, "--data", str(folder)])
    assert result.exit_code == code, result.output
    return result.output


def test_commands(folder: Path, tmp_path: Path) -> None:
    assert "4 job(s) read" in said(folder, "rebuild")
    assert "all as the journals say" in said(folder, "check")
    assert "J-2" in said(folder, "search", "throttle", "--code", "P2176")
    assert said(folder, "search", "gearbox", code=1) == ""
    assert len(json.loads(said(folder, "search", "--json", "--count", "1"))["jobs"]) == 1
    assert "learned lower stop" in said(folder, "car", VIN[-8:])
    assert "1 of 3" in said(folder, "procedure", PROCEDURE, "--origin", "bench")
    assert PROCEDURE in said(folder, "procedure")
    where = str(tmp_path / "c.svg")
    assert "too few" in said(folder, "chart", PROCEDURE, "rest-range", "--judged", "--origin", "bench", "--out", where)
    assert "<svg" in (tmp_path / "c.svg").read_text()
    assert "head" in said(folder, "out", "J-1", str(tmp_path / "p.zip"))
    assert "taken in" in said(tmp_path / "new", "in", str(tmp_path / "p.zip"))
    assert said(folder, "invoice", "J-1").startswith("job,")
    assert json.loads(said(folder, "car", VIN, "--json"))["vin"] == VIN
