"""Live signals that a module gives by data identifier, as the workshop's map of the car names them.

Finer than standard OBD where a maker's manual gives the identifier: 12 bits of a throttle instead of 8. The bytes read
as the map says; resolution is the map's step::

    MappedSignal(CATALOGUE["throttle-absolute"], engine, MappedItem("throttle-absolute", "", 0x4C25, Form.NUMBER, 0, 2,
                 scale=100 / 4095, unit="%", source="manual, page 12"))
"""

from __future__ import annotations

import msgspec

from asleft.codec.obd.fields import Value
from asleft.model.errors import Code, InputError
from asleft.model.module import ModuleAddress
from asleft.model.reading import Signal
from asleft.talk.modules import Form, MappedItem


class MappedSignal(msgspec.Struct, frozen=True):
    """One signal, the module that gives it, and how.

    Raises: InputError (unit-mismatch): the item is no number in the signal's unit.
    """

    signal: Signal
    address: ModuleAddress
    item: MappedItem

    def __post_init__(self) -> None:
        if self.item.form is not Form.NUMBER or self.item.unit != self.signal.unit:
            raise InputError(Code.UNIT_MISMATCH, f"{self.signal.id}: {self.item.form.value} in {self.item.unit or '1'}")

    @property
    def step(self) -> float:
        """Resolution: the map's step, or the signal's own where that is finer: 0 for what is told as 0 or 1."""
        return min(self.signal.resolution, abs(self.item.scale))

    def read(self, data: bytes) -> Value | None:
        """The value in an identifier's data; None: too few bytes."""
        item = self.item
        end = len(data) if item.length is None else item.start + item.length
        part = data[item.start : end]
        if len(data) < end or not part:
            return None
        raw = int.from_bytes(part, "big", signed=item.signed)
        return Value(self.signal.id, raw * item.scale + item.offset, self.signal.unit, abs(item.scale), part)
