"""docs/bench.md says of the cars what the cars say of themselves."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

REPO = Path(__file__).resolve().parents[3]


def test_the_tables_of_the_bench_page_are_up_to_date() -> None:
    """Mend with: python scripts/bench_docs.py"""
    check = subprocess.run([sys.executable, str(REPO / "scripts" / "bench_docs.py"), "--check"], check=False)
    assert check.returncode == 0, "run scripts/bench_docs.py"


def test_every_link_and_service_room_stands_in_the_page() -> None:
    page = (REPO / "docs" / "bench.md").read_text(encoding="utf-8")
    for room in ("bus", "loopback", "kline", "pty_line", "doip", "gateway"):
        assert f"`bench.{room}`" in page
