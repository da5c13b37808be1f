"""The workshop's maps of its cars: files in the data folder's ``maps``, one chosen by the order's make, model and year.

None fitting is no error: the three pictures need no map. Two fitting is one: which module is which must not be chance.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import msgspec

from asleft.book.car_map import CarMap, load_car_map
from asleft.book.files import ProcedureError
from asleft.book.fit import differs
from asleft.live.broadcasts import BroadcastSignals
from asleft.model.errors import Code, InputError
from asleft.model.message import say
from asleft.model.module import ModuleAddress, Picture
from asleft.model.work import Vehicle
from asleft.ports.bus import Link
from asleft.ports.messages import MessageLink
from asleft.talk.modules import ModuleMap

from .desk import Desk

FOLDER = "maps"


class MapFile(msgspec.Struct, frozen=True):
    """A file of the folder: the map, or what is wrong with it."""

    path: Path
    found: CarMap | None
    problems: tuple[str, ...] = ()


def car_maps(folder: Path) -> tuple[MapFile, ...]:
    """All maps in a data folder, by file name."""
    return tuple(map_file(path) for path in sorted((folder / FOLDER).glob("*.yaml")))


def map_file(path: Path) -> MapFile:
    """One file, with everything that is wrong in it. Raises: InputError: it cannot be read."""
    try:
        return MapFile(path, load_car_map(path))
    except ProcedureError as error:
        return MapFile(path, None, tuple(remark.text for remark in error.remarks))


def map_for(folder: Path, vehicle: Vehicle) -> CarMap | None:
    """The map that fits a car; None: the workshop has none.

    Raises: InputError (setting-bad): more than one fits; a file that might be the one cannot be used.
    """
    files = car_maps(folder)
    fitting = [one for f in files if (one := f.found) and not differs(one.applies, vehicle)]
    if len(fitting) > 1:
        names = ", ".join(one.id for one in fitting)
        raise InputError(Code.SETTING_BAD, f"more than one map fits this car: {names}; leave one", str(folder / FOLDER))
    broken = [f for f in files if f.found is None]
    if not fitting and broken:
        first = broken[0]
        raise InputError(Code.SETTING_BAD, f"a map cannot be used: {first.problems[0]}", str(first.path))
    return fitting[0] if fitting else None


def with_map(desk: Desk, folder: Path, vehicle: Vehicle) -> Desk:
    """The desk with the car's map, noted for the record; a desk that knows its car already stays as it is.

    Raises: InputError: as `map_for`.
    """
    if desk.modules.modules:
        return desk
    found = map_for(folder, vehicle)
    if found is None:
        return desk
    template = "worked with the workshop's map {title} ({id}, SHA-256 {sha})"
    note = say("job.car-map", template, title=found.title, id=found.id, sha=found.sha256)
    return replace(desk, modules=found.modules, mapped=found.mapped, car_map=found, notes=(*desk.notes, note))


def heard_on(link: Link | MessageLink, found: CarMap | None) -> BroadcastSignals | None:
    """The broadcasts that a map names, on a link that shows frames; None: nothing to hear.

    Raises: InputError: description-bad.
    """
    if found is None or found.description is None or isinstance(link, MessageLink):
        return None
    return BroadcastSignals(link, found.heard, found.description)


def draft_of(picture: Picture) -> str:
    """A map to complete: the modules that answered, each under a name to be changed, and what it said it is."""
    lines = [
        "# Written from a picture. Name the modules as your procedures do; signals and learned values come from the",
        "# licensed manual. Check it: asleft car check FILE",
        "id: new-car",
        "title: (make, model, engine)",
        "applies: {make: (as on the orders), model: (as on the orders)}",
        "source: (document, edition, page)",
        "modules:",
    ]
    answered = [module for module in picture.modules if module.responded]
    for n, module in enumerate(answered, 1):
        told = "; ".join(f"{i.name} {i.value}" for i in module.identification if i.value and i.key != "vin")
        lines += [f"  # {told}"] if told else []
        lines += _module_lines(f"module-{n}", module.address)
    return "\n".join(lines if answered else [*lines[:-1], "modules: []"]) + "\n"


def _module_lines(name: str, at: ModuleAddress) -> Sequence[str]:
    if at.request_id == at.response_id:
        return (f"  - name: {name}", f'    address: "{at.request_id:02X}"')
    wide = ("    wide: true",) if at.extended else ()
    parts = (("request-byte", at.request_prefix), ("response-byte", at.response_prefix))
    extra = [f'    {key}: "{value:02X}"' for key, value in parts if not isinstance(value, msgspec.UnsetType)]
    ends = (f'    request: "{at.request_id:03X}"', f'    response: "{at.response_id:03X}"')
    return (f"  - name: {name}", *ends, *wide, *extra)


def shown(found: CarMap) -> tuple[str, ...]:
    """A map to read: modules, what is read of each, signals and where they come from."""
    applies = found.applies
    years = f", {applies.years[0]} to {applies.years[1]}" if applies.years else ""
    lines = [f"{found.id}: {found.title} ({applies.make} {applies.model}{years})"]
    for module in found.modules.modules:
        items = ", ".join(i.key for i in (*module.coding, *module.learned))
        lines.append(f"  {module.address.text}" + (f": {items}" if items else ""))
    lines += [f"  {m.signal.id} from {m.address.name}, identifier {m.item.identifier:04X}" for m in found.mapped]
    return (*lines, *(f"  {one.signal} broadcast: {one.message}, {one.name}" for one in found.heard))


__all__ = [
    "CarMap",
    "MapFile",
    "ModuleMap",
    "car_maps",
    "draft_of",
    "heard_on",
    "map_file",
    "map_for",
    "shown",
    "with_map",
]
