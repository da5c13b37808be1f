"""Where things stand on this machine."""

from __future__ import annotations

import os
from importlib import resources
from pathlib import Path

#: The book that comes with the program.
BOOK = Path(str(resources.files("asleft.book"))) / "data"
#: Skeletons of procedures, one a function, with blanks to fill in.
TEMPLATES = Path(str(resources.files("asleft.book"))) / "templates"


def use_folder(folder: Path) -> None:
    """Work on this data folder in this process and its children: jobs, own procedures, people and settings."""
    os.environ["ASLEFT_DATA"] = str(folder.resolve())


def data_folder() -> Path:
    """The workshop's data folder: ``ASLEFT_DATA``, else the user's own place for data."""
    if said := os.environ.get("ASLEFT_DATA"):
        return Path(said)
    base = os.environ.get("XDG_DATA_HOME") or os.environ.get("LOCALAPPDATA") or str(Path.home() / ".local" / "share")
    return Path(base) / "asleft"
