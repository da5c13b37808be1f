"""The book: the procedures a workshop holds, and which of them fits a car.

Only an exact fit may be carried out by wire; what is near is shown with what differs. A bad file does not take the
others with it: it stands among ``problems`` and is not used::

    book = load_book(Path("procedures"))
    book.fitting("throttle-stop-learn", vehicle)      # the loaded procedure, or None
    book.for_function("throttle-stop-learn", vehicle) # all of that function, best first, with what differs
"""

from __future__ import annotations

from pathlib import Path

import msgspec

from asleft.model.errors import Code, InputError
from asleft.model.message import Message
from asleft.model.work import Vehicle

from .fit import CarFacts, differs
from .loader import LoadedProcedure, ProcedureError, load_procedure
from .remark import Level, Remark, nearest

#: The procedures that come with the program: for cars of the fictional workshop.
OWN_FOLDER = Path(__file__).parent / "data"
#: A beginning for each function of the catalogue; for no car by itself.
TEMPLATES = Path(__file__).parent / "templates"


class Match(msgspec.Struct, frozen=True):
    """A procedure for a function, and what of its applicability does not agree with the car."""

    loaded: LoadedProcedure
    differs: tuple[Message, ...]

    @property
    def exact(self) -> bool:
        """Nothing differs and nothing is unknown: it may run by wire."""
        return not self.differs


class Book(msgspec.Struct, frozen=True):
    """Procedures by id; ``problems`` are the errors of files that cannot be used."""

    procedures: tuple[LoadedProcedure, ...] = ()
    problems: tuple[Remark, ...] = ()

    def procedure(self, procedure_id: str) -> LoadedProcedure:
        """The procedure with this id. Raises InputError: procedure-missing, with the nearest id."""
        for loaded in self.procedures:
            if loaded.procedure.id == procedure_id:
                return loaded
        near = nearest(procedure_id, tuple(p.procedure.id for p in self.procedures))
        raise InputError(Code.PROCEDURE_MISSING, f"{procedure_id}; nearest is {near}" if near else procedure_id)

    def for_function(self, function: str, vehicle: Vehicle, facts: CarFacts | None = None) -> tuple[Match, ...]:
        """Procedures of a function: those that fit first, then by how little differs, then by id and revision."""
        found = [p for p in self.procedures if p.procedure.function == function]
        matches = [Match(p, differs(p.procedure.applies, vehicle, facts)) for p in found]
        return tuple(
            sorted(matches, key=lambda m: (len(m.differs), m.loaded.procedure.id, -m.loaded.procedure.revision))
        )

    def fitting(self, function: str, vehicle: Vehicle, facts: CarFacts | None = None) -> LoadedProcedure | None:
        """The procedure that fits the car exactly, or None; nothing near is ever taken."""
        first = next(iter(self.for_function(function, vehicle, facts)), None)
        return first.loaded if first is not None and first.exact else None


def load_book(*folders: Path) -> Book:
    """Read all ``*.yaml`` files of folders, in the order of their names.

    Two files with the same id are a problem of the second, which is not used.
    Raises: InputError: procedure-missing, a folder is not there.
    """
    loaded: dict[str, LoadedProcedure] = {}
    problems: list[Remark] = []
    for folder in folders:
        if not folder.is_dir():
            raise InputError(Code.PROCEDURE_MISSING, "no such folder", str(folder))
        for path in sorted(folder.glob("*.yaml")):
            try:
                found = load_procedure(path)
            except ProcedureError as bad:
                problems.extend(bad.remarks)
                continue
            name = found.procedure.id
            if name in loaded:
                problems.append(_twice(found, loaded[name]))
            else:
                loaded[name] = found
    return Book(tuple(loaded.values()), tuple(problems))


def _twice(second: LoadedProcedure, first: LoadedProcedure) -> Remark:
    name = second.procedure.id
    why = f"{first.lines.file} has the same id"
    line = second.lines.of(("id",))
    return Remark(
        Level.ERROR, "same-id", second.lines.file, line, name, "id", why, "another id, or a newer revision there"
    )
