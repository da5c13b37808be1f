"""What a live exercise keeps beside its record, in the folder ``practice``: truth, what was looked at, comments.

Nothing of it stands in the record, and nothing on the car's bus leads to it.
"""

from __future__ import annotations

from pathlib import Path
from typing import TypeVar

import msgspec

from asleft.model.errors import Code, InputError
from asleft.record.files import put_file

from .remarks import Comment, Looked
from .scoring import Grading

T = TypeVar("T")
_FOLDER = "practice"


class Kept(msgspec.Struct, frozen=True):
    """Of one job: truth, speed, what was looked at, questions for which a hint was asked."""

    truth: Grading
    speed: float = 1.0
    looked: tuple[Looked, ...] = ()
    asked: tuple[str, ...] = ()


def kept_path(folder: Path, job: str, kind: str = "json") -> Path:
    """Where it stands. Raises InputError: no job has such a number."""
    if not job or not job.replace("-", "").isalnum():
        raise InputError(Code.JOB_UNKNOWN, job)
    return folder / _FOLDER / f"{job}.{kind}"


def write_kept(folder: Path, job: str, kept: Kept) -> None:
    """Keep it. Raises: OSError."""
    path = kept_path(folder, job)
    path.parent.mkdir(parents=True, exist_ok=True)
    put_file(path, msgspec.json.encode(kept), 0o600)


def read_kept(folder: Path, job: str) -> Kept:
    """Of one job. Raises InputError: it is no exercise."""
    try:
        kept = msgspec.json.decode(kept_path(folder, job).read_bytes(), type=Kept)
    except (OSError, msgspec.MsgspecError) as error:
        raise InputError(Code.JOB_UNKNOWN, f"{job} is no exercise of this data folder") from error
    return msgspec.structs.replace(kept, asked=tuple(_lines(kept_path(folder, job, "asked"), str)))


def add_asked(folder: Path, job: str, question: str) -> None:
    """A hint was asked for. In a file of its own: the page writes it, the exercise's process the rest."""
    with kept_path(folder, job, "asked").open("ab") as file:
        file.write(msgspec.json.encode(question) + b"\n")


def _lines(path: Path, kind: type[T]) -> list[T]:
    return [msgspec.json.decode(x, type=kind) for x in path.read_bytes().splitlines()] if path.exists() else []


def exercises_done(folder: Path) -> tuple[str, ...]:
    """Jobs of this data folder that are exercises, newest first."""
    return tuple(sorted((p.stem for p in (folder / _FOLDER).glob("*.json")), reverse=True))


def comments_of(folder: Path, job: str) -> tuple[Comment, ...]:
    """A trainer's remarks, as they came."""
    return tuple(_lines(kept_path(folder, job, "comments"), Comment))


def comment_on(folder: Path, job: str, comment: Comment) -> None:
    """Add a remark. Raises InputError: it is no exercise."""
    read_kept(folder, job)
    with kept_path(folder, job, "comments").open("ab") as file:
        file.write(msgspec.json.encode(comment) + b"\n")
