"""Where one car's modules listen and what is to be read of them: data that the workshop holds, never a guess.

A map may be empty: then a picture holds what standard OBD and the standardised identifiers give.
"""

from __future__ import annotations

from enum import StrEnum, unique

import msgspec

from asleft.model.errors import Code, InputError
from asleft.model.module import ModuleAddress


@unique
class Form(StrEnum):
    """How the bytes of an identifier read."""

    HEX = "hex"
    TEXT = "text"
    NUMBER = "number"


class MappedItem(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """One identifier of one module, as the manual gives it.

    Attributes:
        key: stable name in pictures, such as ``coding`` or ``learned-lower-stop``.
        name: words.
        identifier: two-byte data identifier.
        form: how it reads.
        start, length: the bytes that count, from the data's begin; length None: to the end.
        signed, scale, offset, unit: of a number, raw × scale + offset, big-endian.
        source: document and page.
    """

    key: str
    name: str
    identifier: int
    form: Form = Form.HEX
    start: int = 0
    length: int | None = None
    signed: bool = False
    scale: float = 1.0
    offset: float = 0.0
    unit: str = ""
    source: str = ""


class MappedModule(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """One module: its address, and what to read of it besides the standardised identification."""

    address: ModuleAddress
    coding: tuple[MappedItem, ...] = ()
    learned: tuple[MappedItem, ...] = ()


class ModuleMap(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """One car's modules.

    Attributes:
        modules: those known.
        wide: its OBD modules answer on 29-bit identifiers; None: both are tried.
    """

    modules: tuple[MappedModule, ...] = ()
    wide: bool | None = None

    def address(self, name: str) -> ModuleAddress:
        """Address of the module with this name. Raises InputError (module-unknown)."""
        for module in self.modules:
            if module.address.name == name:
                return module.address
        known = ", ".join(m.address.name for m in self.modules) or "none"
        raise InputError(Code.MODULE_UNKNOWN, f"{name}; known: {known}")

    def at(self, address: ModuleAddress) -> MappedModule:
        """What the map says of a module at these identifiers; one that it does not know has nothing more to read."""
        for module in self.modules:
            if module.address.place == address.place:
                return module
        return MappedModule(address)
