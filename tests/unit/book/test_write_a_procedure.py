"""The guide's files and commands, run as printed: what it shows is what the program says."""

from __future__ import annotations

import re
import shlex
from pathlib import Path

import pytest
from typer.testing import CliRunner

from asleft.cli.app import app
from asleft.model.errors import AsleftError

GUIDE = Path(__file__).resolve().parents[3] / "docs" / "write-a-procedure.md"
TEXT = GUIDE.read_text(encoding="utf-8")
FILES = dict(re.findall(r"```(?:yaml|text) (\S+)\n(.*?)```", TEXT, re.DOTALL))
SHOWN = [
    (line, out)
    for block in re.findall(r"```console\n(.*?)```", TEXT, re.DOTALL)
    for line, out in re.findall(r"\$ (asleft [^\n]*)\n((?:(?!\$ ).*\n)*)", block)
]


def test_the_guide_has_files_and_commands() -> None:
    assert set(FILES) == {"quick.yaml", "first.yaml", "slip.yaml", "second-typing.txt"}
    assert len(SHOWN) == 10


def test_every_command_in_order_says_what_the_guide_shows(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    for name, text in FILES.items():
        (tmp_path / name).write_text(text, encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    for command, shown in SHOWN:
        env = {"COLUMNS": "400", "ASLEFT_DATA": str(tmp_path / "data")}
        result = CliRunner().invoke(app, shlex.split(command)[1:], env=env)
        if isinstance(result.exception, AsleftError):
            assert result.exception.sentence() in shown, command
        else:
            assert result.output.strip() == shown.strip(), command
