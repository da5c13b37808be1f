"""The procedure commands as a technician types them: checking, withdrawing, finding, sharing, editing, importing."""

from __future__ import annotations

import json
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

from asleft.bench.cars import petrol
from asleft.book.loader import load_procedure
from asleft.book.shelf import OWN_FOLDER
from asleft.book.trust import from_page
from asleft.cli.app import app
from asleft.model.errors import AsleftError, Code

NAME = "throttle-stop-learn-aldra"


@pytest.fixture
def file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("ASLEFT_DATA", str(tmp_path / "data"))
    book = tmp_path / "book"
    book.mkdir()
    copy = book / "mine.yaml"
    shutil.copy(OWN_FOLDER / f"{NAME}.yaml", copy)
    copy.write_text(copy.read_text(encoding="utf-8").replace(f"id: {NAME}", "id: mine"), encoding="utf-8")
    return copy


def run(*words: object, typed: str = "") -> Result:
    return CliRunner().invoke(app, ["procedure", *map(str, words)], input=typed, env={"COLUMNS": "300"})


def refused(result: Result) -> Code:
    assert isinstance(result.exception, AsleftError), result.output
    return result.exception.code


def typing(file: Path) -> str:
    return "\n".join(n.text for n in from_page(load_procedure(file))) + "\n"


def test_a_second_person_types_every_number_and_a_changed_one_undoes_it(file: Path) -> None:
    assert "mine: draft" in run("trust", file).output
    wrong = typing(file).replace("0x5A21", "0x5A12", 1)
    assert refused(run("check", file, "--by", "L. Brandt", typed=wrong)) is Code.CHECK_FAILED
    done = run("check", file, "--by", "L. Brandt", typed=typing(file))
    assert done.exit_code == 0, done.output
    assert done.output.count("0x5A31") == 3, "only what is typed is on the screen"
    found = json.loads(run("trust", file, "--json").output)
    assert (found["level"], set(found["may"].values())) == ("checked", {""})
    assert "draft again" in run("set", file, "entry[3].low", "11.9").output
    assert "mine: draft" in run("trust", file).output


def test_alone_the_same_person_waits(file: Path) -> None:
    early = run("check", file, "--by", "m okafor", "--on", "2026-01-05T10:00:00Z", typed=typing(file))
    assert refused(early) is Code.CHECK_FAILED
    late = run("check", file, "--by", "M. Okafor", "--on", "2026-01-06T10:00:00Z", typed=typing(file))
    assert "self-checked; the same person" in late.output


def test_withdrawn_and_back(file: Path) -> None:
    assert run("withdraw", file, "--by", "L. Brandt", "--why", "wrong edition").exit_code == 0
    told = run("trust", file).output
    assert "mine: withdrawn: wrong edition" in told
    assert "bench by-wire: withdrawn: it is not carried out any more" in told
    assert run("restore", file, "--by", "L. Brandt").exit_code == 0
    assert "mine: draft" in run("trust", file).output


def test_every_number_is_listed(file: Path) -> None:
    assert 'identifier.rows[2].identifier: 0x5A31, printed "0x5A31", bytes 5A 31' in run("numbers", file).output
    assert json.loads(run("numbers", file, "--json").output)[0]["place"] == "entry[1].high"


def test_found_by_car_words_and_numbers(file: Path) -> None:
    exact = run("find", "lower", "stop", "--make", "Aldra", "--model", "1.6", "--year", 2012, "--book", file.parent)
    assert "mine: Electronic throttle lower-stop learn, Aldra 1.6 petrol (draft, exact)" in exact.output
    near = json.loads(run("find", "ENG-1620-3", "--make", "Brevik", "--book", file.parent, "--json").output)
    assert not near[0]["exact"]
    assert (
        near[0]["reasons"] == ["has eng-1620-3", "has 1620", "has eng", "has 3"]
        or "has eng-1620-3" in near[0]["reasons"]
    )
    assert near[0]["differs"][0] == "make: it is for Aldra, not Brevik"
    diesel = run("find", "throttle", "--make", "Aldra", "--propulsion", "diesel", "--book", file.parent)
    assert "differs: propulsion: it is for petrol, not diesel" in diesel.output
    assert run("find", "windscreen", "--book", file.parent).exit_code == 1
    assert refused(run("find", "x", "--book", file.parent / "absent")) is Code.PROCEDURE_MISSING
    assert refused(run("find", "x", "--propulsion", "steam", "--book", file.parent)) is Code.PROCEDURE_BAD


def test_a_book_goes_to_another_workshop_and_arrives_as_drafts(file: Path, tmp_path: Path) -> None:
    parcel = tmp_path / "parcel.json"
    assert run("export", file.parent, "--out", parcel, "--sender", "Gable Street Motors").output.startswith("1 proc")
    assert refused(run("export", file, "--out", parcel, "--sender", "x")) is Code.PARCEL_BAD
    taken = run("import", parcel, "--into", tmp_path / "theirs")
    assert "1 procedure(s) from Gable Street Motors (claimed" in taken.output
    assert (tmp_path / "theirs" / "mine.yaml").read_bytes() == file.read_bytes()
    key = taken.output.split("key ")[-1].split(";")[0]
    assert "claimed" not in run("import", parcel, "--into", tmp_path / "again", "--key", key).output
    assert refused(run("import", parcel, "--into", tmp_path / "no", "--key", "00" * 32)) is Code.PARCEL_BAD
    parcel.write_bytes(parcel.read_bytes().replace(b"12.0", b"11.0"))
    assert refused(run("import", parcel, "--into", tmp_path / "bad")) is Code.PARCEL_BAD
    assert not list((tmp_path / "bad").glob("*"))


def test_what_cannot_be_used_is_not_written(file: Path) -> None:
    before = file.read_bytes()
    assert refused(run("set", file, "entry[3].low", "99")) is Code.PROCEDURE_BAD
    assert file.read_bytes() == before
    assert run("set", file, "name", "Another name").output == "revision 2\n"
    assert b"# Typed in from" in file.read_bytes()


def test_signals_of_the_cars_description() -> None:
    told = run("from-dbc", Path(petrol.__file__).with_name("petrol.dbc")).output
    assert "engine-data-engine-speed: EngineData.EngineSpeed, frame 120, rpm, step 0.25" in told
    assert "8 taken, 0 refused" in told


def test_help_does_not_load_the_book() -> None:
    code = "import sys; sys.argv = ['asleft', 'procedure', '--help']; from asleft.cli.app import app\n"
    code += "try:\n    app()\nexcept SystemExit:\n    pass\n"
    code += "assert not [m for m in sys.modules if m.startswith(('asleft.book', 'msgspec', 'yaml', 'numpy'))]"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, timeout=60, check=False)
    assert done.returncode == 0, done.stderr
    assert "from-odx" in done.stdout
