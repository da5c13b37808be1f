"""ISO-TP (ISO 15765-2) as a machine without I/O and without a clock. See ``session`` for its use."""

from __future__ import annotations

from .addressing import IsoTpAddress, Lane, as_module, extended, mixed, mixed_wide, normal, normal_fixed
from .config import IsoTpConfig
from .errors import (
    ConsecutiveSilent,
    FlowControlSilent,
    InterruptedByNew,
    InvalidFlowStatus,
    MessageTooLong,
    OtherSideFull,
    TooManyWaits,
    TransferBroken,
    WrongSequenceNumber,
)
from .events import Began, Direction, IsoTpEvent, Received, Sent, TransferFailed
from .session import IsoTpSession

__all__ = [
    "Began",
    "ConsecutiveSilent",
    "Direction",
    "FlowControlSilent",
    "InterruptedByNew",
    "InvalidFlowStatus",
    "IsoTpAddress",
    "IsoTpConfig",
    "IsoTpEvent",
    "IsoTpSession",
    "Lane",
    "MessageTooLong",
    "OtherSideFull",
    "Received",
    "Sent",
    "TooManyWaits",
    "TransferBroken",
    "TransferFailed",
    "WrongSequenceNumber",
    "as_module",
    "extended",
    "mixed",
    "mixed_wide",
    "normal",
    "normal_fixed",
]
