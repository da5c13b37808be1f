"""The commands of docs/coding.md run as they stand there, and the dry run holds the bytes that compose gave."""

from __future__ import annotations

import shlex
from pathlib import Path

import pytest
from typer.testing import CliRunner

from asleft.cli.app import app

ROOT = Path(__file__).resolve().parents[3]
COMMANDS = [
    line.strip() for line in (ROOT / "docs" / "coding.md").read_text().splitlines() if line.startswith("    asleft ")
]


def said(command: str) -> str:
    result = CliRunner().invoke(app, shlex.split(command)[1:])
    assert result.exit_code == 0, result.output
    return result.output


def test_the_commands_of_the_guide(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(ROOT)
    decoded, composed, compared, dry = (said(c) for c in COMMANDS)
    assert "checksum 1: holds" in decoded
    assert "Sunroof: " in composed
    assert "Sunroof: " in compared
    data = bytes.fromhex(composed.splitlines()[0])
    assert "2E 3B 30 " + data.hex(" ").upper() in dry


def test_a_rule_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(ROOT)
    arguments = [*shlex.split(COMMANDS[1])[1:-1], "trailer-socket=yes", "rear-fog=no"]
    result = CliRunner().invoke(app, arguments)
    assert result.exit_code != 0
    assert "needs the rear fog lamp" in f"{result.output} {result.exception}"
