"""``asleft coding`` as a newcomer types it."""

from __future__ import annotations

import json
from pathlib import Path

from typer.testing import CliRunner

from asleft.cli.app import app

LAYOUT = """id: demo
name: Demo
revision: 1
module: body
source: Invented page
numbers: [{part-number: BCM-1, software-number: BCMSW1}]
identifier: 3B30
length: 2
blank: 0
options: [{id: rain, name: Rain sensor, kind: flag, at: 0, bits: 1, test: wet the glass}]
checks: [{kind: sum, first: 0, last: 0, at: 1, invert: true}]
"""


def test_decode_compare_compose(tmp_path: Path) -> None:
    path = tmp_path / "demo.yaml"
    path.write_text(LAYOUT)
    run = CliRunner()
    out = run.invoke(app, ["coding", "decode", str(path), "807F"]).stdout
    assert "Rain sensor: no" in out
    assert "checksum 1: holds" in out
    assert "explain: 8000" in out
    out = run.invoke(app, ["coding", "compose", str(path), "807F", "rain=yes"]).stdout
    assert out.splitlines() == ["817E", "Rain sensor: no -> yes (test: wet the glass)"]
    found = json.loads(run.invoke(app, ["coding", "compare", str(path), "807F", "807F", "--json"]).stdout)
    assert found["changes"] == []
