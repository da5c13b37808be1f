"""Settings of one side of a transfer, checked when made."""

from __future__ import annotations

import msgspec

from asleft.model.errors import Code, LinkError

from .frames import LONG_FORM_MAX, LONG_LENGTHS


class IsoTpConfig(msgspec.Struct, frozen=True, kw_only=True):
    """How this side sends and what it asks of the other.

    Attributes:
        block_size: consecutive frames that we accept between two flow controls; 0: no limit.
        st_min: least time between them that we ask for, the byte on the wire: 00-7F ms, F1-F9 × 100 µs.
        own_gap_s: least time between consecutive frames that we keep of ourselves, s (gentle on slow modules).
        padding: byte that fills frames up to 8 bytes, or None to send them short.
        fd: send CAN FD frames.
        frame_length: longest frame we send (TX_DL): 8, or one of the CAN FD lengths when ``fd``.
        max_length: longest message we accept, bytes; longer ones are refused with flow control *overflow*.
        max_waits: flow control *wait* frames in a row that we bear (N_WFTmax).
        flow_timeout_s: how long we wait for a flow control (N_Bs), s.
        consecutive_timeout_s: how long we wait for the next consecutive frame (N_Cr), s.

    Raises:
        LinkError: a value that no frame can carry.
    """

    block_size: int = 0
    st_min: int = 0
    own_gap_s: float = 0.0
    padding: int | None = 0xCC
    fd: bool = False
    frame_length: int = 8
    max_length: int = 4095
    max_waits: int = 16
    flow_timeout_s: float = 1.0
    consecutive_timeout_s: float = 1.0

    def __post_init__(self) -> None:
        st_min_known = 0 <= self.st_min <= 0x7F or 0xF1 <= self.st_min <= 0xF9
        checks = (
            (0 <= self.block_size <= 0xFF, f"block size {self.block_size}"),
            (st_min_known, f"STmin {self.st_min:X} is reserved"),
            (self.own_gap_s >= 0, f"gap {self.own_gap_s} s"),
            (self.padding is None or 0 <= self.padding <= 0xFF, f"padding {self.padding}"),
            (self.frame_length in LONG_LENGTHS, f"frame length {self.frame_length}"),
            (self.fd or self.frame_length == 8, f"frame length {self.frame_length} needs CAN FD"),
            (0 < self.max_length <= LONG_FORM_MAX, f"largest message {self.max_length}"),
            (self.max_waits >= 0, f"{self.max_waits} waits"),
            (self.flow_timeout_s > 0 and self.consecutive_timeout_s > 0, "a time-out must be above zero"),
        )
        for fine, what in checks:
            if not fine:
                raise LinkError(Code.FRAME_INVALID, what)
