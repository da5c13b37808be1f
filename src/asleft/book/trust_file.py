"""What a workshop knows of its procedures' trust: one file of lines that is only ever added to.

Each line is one act, as JSON: entered (first seen with these numbers), checked, withdrawn, restored. The file holds no
numbers, only their hashes, so that it can be read before a check without giving one away::

    trust = TrustFile(folder / "trust.jsonl")
    trust.note("throttle-stop-learn-aldra")        # a TrustNote for level_of
    trust.checked(loaded.procedure.id, check)
"""

from __future__ import annotations

import os
from datetime import datetime
from pathlib import Path
from typing import BinaryIO, Literal

import msgspec

from asleft.model.errors import Code, InputError

from .loader import LoadedProcedure
from .trust import Check, Trust, TrustNote, hash_of_numbers, level_of


class Act(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """One line: what was done to which procedure, by whom, when (RFC 3339).

    Attributes: numbers: their hash. alone: checked by the one who entered them. why: of a withdrawal.
    """

    act: Literal["entered", "checked", "withdrawn", "restored"]
    procedure: str
    by: str
    on: str
    numbers: str = ""
    alone: bool = False
    why: str = ""


class TrustFile:
    """The acts of one file. Raises InputError: check-failed, a line of it cannot be read."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self.acts = tuple(_acts(path))

    def note(self, procedure: str) -> TrustNote:
        """What is known of one procedure."""
        acts = [act for act in self.acts if act.procedure == procedure]
        checks = tuple(Check(act.numbers, act.by, act.on, act.alone) for act in acts if act.act == "checked")
        last = next((act for act in reversed(acts) if act.act in {"withdrawn", "restored"}), None)
        return TrustNote(procedure, checks, last.why if last is not None and last.act == "withdrawn" else "")

    def level(self, loaded: LoadedProcedure) -> Trust:
        """The level of a procedure as it stands now."""
        return level_of(loaded, self.note(loaded.procedure.id))

    def entered(self, loaded: LoadedProcedure, by: str, on: str) -> float:
        """Hours since these numbers were first seen here; 0 when it is now, and that is written down."""
        numbers = hash_of_numbers(loaded)
        for act in self.acts:
            if act.act == "entered" and act.procedure == loaded.procedure.id and act.numbers == numbers:
                return (datetime.fromisoformat(on) - datetime.fromisoformat(act.on)).total_seconds() / 3600.0
        self._add(Act("entered", loaded.procedure.id, by, on, numbers))
        return 0.0

    def checked(self, procedure: str, check: Check) -> None:
        """Keep a check."""
        self._add(Act("checked", procedure, check.by, check.on, check.numbers, check.alone))

    def withdraw(self, procedure: str, why: str, by: str, on: str) -> None:
        """From now on it is not carried out. Raises InputError: check-failed, without a name or a reason."""
        if not (why.strip() and by.strip()):
            raise InputError(Code.CHECK_FAILED, "withdrawing needs a name and a reason")
        self._add(Act("withdrawn", procedure, by.strip(), on, why=why.strip()))

    def restore(self, procedure: str, by: str, on: str) -> None:
        """A withdrawal was wrong; earlier checks of the same numbers count again."""
        if not by.strip():
            raise InputError(Code.CHECK_FAILED, "taking a withdrawal back needs a name")
        self._add(Act("restored", procedure, by.strip(), on))

    def _add(self, act: Act) -> None:
        self._path.parent.mkdir(parents=True, exist_ok=True)
        with self._path.open("a+b") as file:
            _drop_broken_end(file)
            file.write(msgspec.json.encode(act) + b"\n")
            file.flush()
            os.fsync(file.fileno())
        self.acts = (*self.acts, act)


def _drop_broken_end(file: BinaryIO) -> None:
    """Take away a last line without its end."""
    file.seek(0)
    data = file.read()
    whole = data.rfind(b"\n") + 1
    if whole < len(data):
        file.truncate(whole)


def _acts(path: Path) -> list[Act]:
    """All whole lines; a last line that a power cut broke off was never promised and is left out."""
    try:
        data = path.read_bytes()
    except FileNotFoundError:
        return []
    *whole, _ = data.split(b"\n")
    try:
        return [msgspec.json.decode(line, type=Act) for line in whole]
    except msgspec.MsgspecError as error:
        raise InputError(Code.CHECK_FAILED, f"the workshop's file of checks is damaged: {error}", str(path)) from None
