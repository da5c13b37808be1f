"""The shell recipe of docs/record-format.md, run as a reader would."""

from __future__ import annotations

import re
import subprocess
from collections.abc import Mapping
from pathlib import Path

DOC = Path(__file__).resolve().parents[2] / "docs" / "record-format.md"


def recipe() -> str:
    """The shell block of the document."""
    block = re.search(r"```sh\n(.*?)```", DOC.read_text("utf-8"), re.DOTALL)
    assert block is not None
    return block[1]


def by_hand(folder: Path, members: Mapping[str, bytes]) -> tuple[bool, str]:
    """Whether the recipe finds a record intact, and its last words."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, content in members.items():
        (folder / name).parent.mkdir(exist_ok=True)
        (folder / name).write_bytes(content)
    done = subprocess.run(["sh", "-c", recipe()], cwd=folder, capture_output=True, text=True, check=False)
    return done.returncode == 0, done.stdout + done.stderr
