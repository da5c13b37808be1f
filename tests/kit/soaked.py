"""Long runs in parts: what has passed is not run again when ``make soak`` was broken off and is started once more.

``ASLEFT_SOAK`` names the folder that keeps it; without it everything runs.
"""

from __future__ import annotations

import json
import os
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest


def once(part: str, work: Callable[[], Any]) -> Any:
    """Do a part, or skip it when it has passed already; its result is kept.

    Args:
        part: its name, unique among all of them, fit for a file name.
        work: does it; raises where it fails, and then nothing is kept.
    """
    folder = os.environ.get("ASLEFT_SOAK", "")
    kept = Path(folder) / f"{part}.json" if folder else None
    if kept is not None and kept.is_file():
        pytest.skip(f"passed before: {kept.read_text(encoding='utf-8')}")
    result = work()
    if kept is not None:
        kept.parent.mkdir(parents=True, exist_ok=True)
        new = kept.with_suffix(".new")
        new.write_text(json.dumps(result), encoding="utf-8")
        new.replace(kept)
    return result
