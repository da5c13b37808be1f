"""Lets the tests of this room import what tests share (``tests/kit``), and read a PDF as a reader sees it."""

from __future__ import annotations

import shutil
import subprocess
import sys
from pathlib import Path

import pytest

TESTS = Path(__file__).resolve().parents[2]
if str(TESTS) not in sys.path:
    sys.path.insert(0, str(TESTS))


def read_text(pdf: bytes, folder: Path, page: int | None = None) -> str:
    """What a reader reads, cell by cell; line breaks folded to spaces. Skips where poppler is absent."""
    if shutil.which("pdftotext") is None:
        pytest.skip("pdftotext (poppler-utils) is not on this machine")
    file = folder / "report.pdf"
    file.write_bytes(pdf)
    pages = [] if page is None else ["-f", str(page), "-l", str(page)]
    done = subprocess.run(["pdftotext", "-raw", *pages, str(file), "-"], capture_output=True, check=True)
    return " ".join(done.stdout.decode().replace("\u200b", "").split())


class Reader:
    """Text and pages of a PDF by programs that know nothing of this project (poppler)."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder

    def text(self, pdf: bytes, page: int | None = None) -> str:
        """What a reader reads."""
        return read_text(pdf, self._folder, page)


@pytest.fixture
def reader(tmp_path: Path) -> Reader:
    """poppler's pdftotext; its absence is a skip."""
    return Reader(tmp_path)
