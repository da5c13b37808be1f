"""The page for scripts: its code runs as it stands, and names nothing that the package does not give."""

from __future__ import annotations

import csv
import re
from pathlib import Path

import pytest

from asleft import api
from asleft.job.records import export
from asleft.job.settings import BOOK
from conftest import REPO
from kit.events import VIN
from kit.gallery import bodies, store, whole_job

PAGE = (REPO / "docs" / "python-api.md").read_text(encoding="utf-8")
BLOCKS = re.findall(r"```python\n(.*?)```", PAGE, re.DOTALL)
MAP = """\
name: made by a test
time: {column: t, form: seconds}
columns:
  rpm: {signal: engine-speed, unit: rpm}
"""


@pytest.fixture(scope="module")
def names(tmp_path_factory: pytest.TempPathFactory) -> dict[str, object]:
    """What the page's code finds: a data folder with one closed job, its record, a recording, procedures."""
    base = tmp_path_factory.mktemp("api")
    folder = base / "data"
    folder.mkdir()
    store(folder, "J-1", bodies(whole_job()))
    export(folder, "J-1", base / "record.zip")
    with (base / "idle.csv").open("w", newline="") as file:
        rows = csv.writer(file)
        rows.writerow(("t", "rpm"))
        rows.writerows((round(0.2 * n, 1), 750 + n % 3) for n in range(600))
    (base / "idle.csv.map.yaml").write_text(MAP)
    return {
        "folder": folder,
        "vin": VIN,
        "record": base / "record.zip",
        "recording": base / "idle.csv",
        "procedure": BOOK / "idle-proof.yaml",
        "learn": BOOK / "throttle-stop-learn-aldra.yaml",
    }


def test_the_code_of_the_page_runs(names: dict[str, object], capsys: pytest.CaptureFixture[str]) -> None:
    """All of it, in order, in one namespace, as in a notebook. There is no engine: its command says so."""
    assert len(BLOCKS) >= 8
    space = dict(names)
    for number, block in enumerate(BLOCKS, 1):
        exec(compile(block, f"docs/python-api.md, code {number}", "exec"), space)
    said = capsys.readouterr().out
    assert "throttle" in said
    assert "engine-absent" in said
    assert "True" in said, "the record checks"
    assert "31 01 5A 31" in said
    assert "['J-1']" in said
    assert space["last"] == space["shop"].events("J-1")[-1]  # type: ignore[attr-defined]
    assert space["tried"].best  # type: ignore[attr-defined]


def test_every_name_is_there_and_stands_on_the_page() -> None:
    for name in api.__all__:
        assert re.search(rf"\b{name}\b", PAGE), name


def test_the_page_is_found_in_the_help() -> None:
    from asleft.job.manual import pages

    assert pages()["python-api"] == "From Python"
    assert Path(api.__file__).name == "api.py"
