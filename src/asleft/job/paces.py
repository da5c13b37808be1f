"""What each car has proved to bear, kept between its stays: one small file a car in the data folder's ``cars``.

A file's name is a hash, so that a folder listing tells no VIN. A file that cannot be read is as good as none: the car
is then met as gently as a stranger.
"""

from __future__ import annotations

import hashlib
from pathlib import Path

import msgspec

from asleft.event.fold import JobState
from asleft.model.origin import Origin
from asleft.model.vin import Vin
from asleft.record.files import put_file
from asleft.talk.pace import CarPace

_FOLDER = "cars"


def read_pace(folder: Path, vin: Vin, origin: Origin) -> CarPace:
    """What is known of this car; nothing for a stranger."""
    try:
        return msgspec.json.decode(_path(folder, vin, origin).read_bytes(), type=CarPace)
    except (OSError, msgspec.MsgspecError):
        return CarPace()


def keep_pace(folder: Path, state: JobState, pace: CarPace) -> None:
    """Keep what a job has shown, unless the car on the link was another than the one on the order.

    Raises: OSError.
    """
    if state.vehicle is None or any(note.id == "vin.differs" for note in state.notes):
        return
    path = _path(folder, state.vehicle.vin, state.origin)
    path.parent.mkdir(parents=True, exist_ok=True)
    put_file(path, msgspec.json.encode(pace), 0o600)


def _path(folder: Path, vin: Vin, origin: Origin) -> Path:
    name = hashlib.sha256(f"{origin.value} {vin.text}".encode()).hexdigest()[:32]
    return folder / _FOLDER / f"{name}.json"
