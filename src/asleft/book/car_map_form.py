"""The form of a map of a car: what its file holds. What it means: ``car_map``; what cannot be: ``car_map_check``."""

from __future__ import annotations

from typing import Annotated

import msgspec

from asleft.model.step_more import Base
from asleft.talk.modules import Form

from .fields import Slug, Text
from .procedure import Applies


class ItemLine(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """Something to read in the pictures: coding or a learned value, by data identifier.

    Attributes:
        identifier: as the source prints it, in the form ``printed`` says.
        start, length: the bytes that count; length None: to the end.
        scale, offset, unit, signed: of a number, raw × scale + offset, big-endian.
    """

    key: Slug
    identifier: Text
    printed: Base = Base.HEX
    name: str = ""
    form: Form = Form.NUMBER
    start: int = 0
    length: int | None = None
    signed: bool = False
    scale: float = 1.0
    offset: float = 0.0
    unit: str = ""
    source: str = ""


class SignalLine(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """A signal that a data identifier carries, in the signal's usual unit.

    Attributes:
        accuracy: half-width of the sensor's own error, in that unit; 0: the source says nothing, only the step counts.
        low, high: what a reading can be; outside it is flagged.
    """

    signal: Slug
    identifier: Text
    length: int
    printed: Base = Base.HEX
    start: int = 0
    signed: bool = False
    scale: float = 1.0
    offset: float = 0.0
    accuracy: float = 0.0
    low: float | None = None
    high: float | None = None
    source: str = ""


class ModuleLine(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """One module: its name in procedures, and either its frame identifiers (CAN) or its address (K-line, DoIP).

    Attributes:
        request, response: frame identifiers, hexadecimal, in quotes.
        wide: 29-bit ones. request_byte, response_byte: address byte in front of the data, where several share them.
        address: hexadecimal; of a module on K-line one byte, on DoIP two.
    """

    name: Slug
    request: str = ""
    response: str = ""
    wide: bool = False
    request_byte: str = ""
    response_byte: str = ""
    address: str = ""
    coding: tuple[ItemLine, ...] = ()
    learned: tuple[ItemLine, ...] = ()
    signals: tuple[SignalLine, ...] = ()


class BroadcastLine(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """A signal that a module broadcasts: frame and name as the description has them."""

    signal: Slug
    frame: Text
    name: Text
    accuracy: float = 0.0
    description_unit: str = ""


class Broadcasts(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """What goes by on the bus. ``description``: name of a DBC file beside the map."""

    description: Text
    signals: Annotated[tuple[BroadcastLine, ...], msgspec.Meta(min_length=1)]


class CarMapFile(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """One file. ``wide_obd``: its OBD modules answer on 29-bit identifiers; None: both are tried."""

    id: Slug
    title: Text
    applies: Applies
    source: Text
    modules: tuple[ModuleLine, ...] = ()
    broadcasts: Broadcasts | None = None
    wide_obd: bool | None = None
