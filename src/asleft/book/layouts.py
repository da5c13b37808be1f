"""Layout files to layouts: read with positions as procedures are, and checked before anybody may use one."""

from __future__ import annotations

from pathlib import Path as FilePath

from asleft.coding.check_layout import Fault, faults_of
from asleft.coding.layout import Layout
from asleft.model.errors import Code, InputError
from asleft.model.step_more import Base

from .files import ProcedureError, read_struct
from .printed import two_bytes
from .remark import Complaint, Path, Remark

#: Layouts that come with the program, for cars of the fictional workshop.
OWN_LAYOUTS = FilePath(__file__).parent / "data" / "layouts"


#: Folder of the workshop's own layouts, which come first; none until it is named.
_own: list[FilePath] = []


def use_own_layouts(folder: FilePath) -> tuple[Remark, ...]:
    """Look for layouts in a workshop's folder as well; one of these replaces another with the same id.

    Returns: what is wrong with files in it; a layout that cannot be used is refused again where it is asked for.
    """
    _own[:] = [folder] if folder.is_dir() else []
    found: list[Remark] = []
    for path in sorted(folder.glob("*.yaml")) if _own else ():
        try:
            load_layout(path)
        except ProcedureError as bad:
            found.extend(bad.remarks)
    return tuple(found)


def own_layout(layout: str) -> Layout:
    """The layout of this id: the workshop's own, else the program's. Raises: as `load_layout`."""
    own = (folder / f"{layout}.yaml" for folder in _own)
    return load_layout(next((path for path in own if path.is_file()), OWN_LAYOUTS / f"{layout}.yaml"))


def read_layout(data: bytes, name: str) -> Layout:
    """A layout from the bytes of a file called ``name``. Raises ProcedureError: every error with file, line, field."""
    read = read_struct(data, name, Layout)
    faults = [*faults_of(read.value), *_printed(read.value)]
    if faults:
        remarks = (read.lines.remark(Complaint(f.path, "layout", f.why, f.instead)) for f in faults)
        raise ProcedureError(tuple(sorted(remarks, key=lambda r: r.line)))
    return read.value


def load_layout(path: FilePath) -> Layout:
    """Read one file. Raises: ProcedureError; InputError: procedure-missing."""
    try:
        data = path.read_bytes()
    except OSError as error:
        raise InputError(Code.PROCEDURE_MISSING, error.strerror or "not readable", str(path)) from error
    return read_layout(data, path.name)


def _printed(layout: Layout) -> list[Fault]:
    """Identifiers that cannot be, of the layout and of neighbours."""
    places: list[tuple[Path, str, Base]] = [(("identifier",), layout.identifier, layout.printed)]
    for n, option in enumerate(layout.options):
        for m, one in enumerate(option.neighbours):
            places.append((("options", n, "neighbours", m, "identifier"), one.identifier, one.printed))
    found: list[Fault] = []
    for path, text, base in places:
        try:
            two_bytes(text, base)
        except InputError as error:
            found.append(Fault(path, error.detail, "as the source prints it, with its base"))
    return found
