"""Who talks to whom: identifiers and address bytes of every addressing mode of ISO-TP.

One :class:`IsoTpAddress` is one side's view of one pair::

    engine = normal(0x7E0, 0x7E8, functional=0x7DF)
    body = normal_fixed(source=0xF1, target=0x40)

Source: ISO 15765-2:2016, 10.3 (addressing formats, 29-bit parameter groups 18DA, 18DB, 18CE, 18CD); recalled, agrees
with the example identifiers 18DA10F1 / 18DAF110 of the check values.
"""

from __future__ import annotations

import msgspec

from asleft.model.errors import Code, LinkError
from asleft.model.frame import CanFrame

_FIXED_PHYSICAL = 0x18DA_0000
_FIXED_FUNCTIONAL = 0x18DB_0000
_MIXED_PHYSICAL = 0x18CE_0000
_MIXED_FUNCTIONAL = 0x18CD_0000


class Lane(msgspec.Struct, frozen=True):
    """One direction: CAN identifier, and the address byte in front of the data where the mode has one."""

    id: int
    prefix: int | None = None

    @property
    def overhead(self) -> int:
        """Bytes that the address takes from the data field: 0 or 1."""
        return 0 if self.prefix is None else 1

    @property
    def head(self) -> bytes:
        """The address byte, or nothing."""
        return b"" if self.prefix is None else bytes((self.prefix,))

    def carries(self, frame: CanFrame) -> bool:
        """Whether the frame came on this lane (its identifier width is checked by the address)."""
        return frame.id == self.id and (self.prefix is None or frame.data[:1] == self.head)


class IsoTpAddress(msgspec.Struct, frozen=True):
    """One side's view of a pair.

    Attributes:
        tx, rx: lanes to and from the other side.
        wide: 29-bit identifiers.
        tx_functional: lane on which requests to everybody go out.
        rx_functional: lane on which requests to everybody come in (a module's side).

    Raises:
        LinkError: an identifier or address byte is impossible.
    """

    tx: Lane
    rx: Lane
    wide: bool = False
    tx_functional: Lane | None = None
    rx_functional: Lane | None = None

    def __post_init__(self) -> None:
        limit = 1 << (29 if self.wide else 11)
        for lane in (self.tx, self.rx, self.tx_functional, self.rx_functional):
            if lane is None:
                continue
            if not 0 <= lane.id < limit:
                raise LinkError(Code.FRAME_INVALID, f"identifier {lane.id:X}")
            if lane.prefix is not None and not 0 <= lane.prefix <= 0xFF:
                raise LinkError(Code.FRAME_INVALID, f"address byte {lane.prefix:X}")

    def lane_of(self, frame: CanFrame) -> Lane | None:
        """The lane on which this frame reaches us, or None when it is not for us."""
        if frame.extended != self.wide:
            return None
        if self.rx.carries(frame):
            return self.rx
        if self.rx_functional is not None and self.rx_functional.carries(frame):
            return self.rx_functional
        return None

    def text(self) -> str:
        """Both identifiers in hexadecimal, for messages."""
        width = 8 if self.wide else 3
        return f"{self.tx.id:0{width}X}/{self.rx.id:0{width}X}"


def normal(tx_id: int, rx_id: int, *, wide: bool = False, functional: int | None = None) -> IsoTpAddress:
    """Normal addressing: the identifiers say everything. ``functional`` is the identifier for everybody (OBD: 7DF)."""
    everybody = None if functional is None else Lane(functional)
    return IsoTpAddress(Lane(tx_id), Lane(rx_id), wide, everybody)


def normal_fixed(source: int, target: int, *, functional_target: int | None = 0x33) -> IsoTpAddress:
    """Normal fixed addressing, 29 bit: 18DA, target, source. The functional target of OBD is 33."""
    everybody = None if functional_target is None else Lane(_fixed(_FIXED_FUNCTIONAL, functional_target, source))
    return IsoTpAddress(
        Lane(_fixed(_FIXED_PHYSICAL, target, source)), Lane(_fixed(_FIXED_PHYSICAL, source, target)), True, everybody
    )


def extended(
    tx_id: int, rx_id: int, source: int, target: int, *, wide: bool = False, functional_target: int | None = None
) -> IsoTpAddress:
    """Extended addressing: the target address is the first data byte."""
    everybody = None if functional_target is None else Lane(tx_id, functional_target)
    return IsoTpAddress(Lane(tx_id, target), Lane(rx_id, source), wide, everybody)


def mixed(tx_id: int, rx_id: int, extension: int, *, functional: int | None = None) -> IsoTpAddress:
    """Mixed addressing, 11 bit: an address extension is the first data byte in both directions."""
    everybody = None if functional is None else Lane(functional, extension)
    return IsoTpAddress(Lane(tx_id, extension), Lane(rx_id, extension), False, everybody)


def mixed_wide(source: int, target: int, extension: int, *, functional_target: int | None = None) -> IsoTpAddress:
    """Mixed addressing, 29 bit: 18CE, target, source, and the address extension in front of the data."""
    everybody = (
        None if functional_target is None else Lane(_fixed(_MIXED_FUNCTIONAL, functional_target, source), extension)
    )
    return IsoTpAddress(
        Lane(_fixed(_MIXED_PHYSICAL, target, source), extension),
        Lane(_fixed(_MIXED_PHYSICAL, source, target), extension),
        True,
        everybody,
    )


def as_module(address: IsoTpAddress) -> IsoTpAddress:
    """The same pair seen from the other side: what was sent is received, requests to everybody included."""
    return IsoTpAddress(address.rx, address.tx, address.wide, None, address.tx_functional)


def _fixed(group: int, target: int, source: int) -> int:
    if not (0 <= target <= 0xFF and 0 <= source <= 0xFF):
        raise LinkError(Code.FRAME_INVALID, f"address {target:X} or {source:X}")
    return group | target << 8 | source
