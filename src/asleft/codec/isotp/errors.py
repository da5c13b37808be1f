"""The ways in which a transfer may fail: one class each, all under :class:`TransferBroken`.

The names of the standard's result values (``N_TIMEOUT_Bs`` and so on) stand in ``standard``::

    TransferBroken (LinkError, code transfer-broken)
    ├── FlowControlSilent     N_TIMEOUT_Bs    no flow control came
    ├── ConsecutiveSilent     N_TIMEOUT_Cr    the next consecutive frame did not come
    ├── WrongSequenceNumber   N_WRONG_SN      a consecutive frame is missing, doubled or swapped
    ├── InvalidFlowStatus     N_INVALID_FS    a flow status that the standard does not know
    ├── InterruptedByNew      N_UNEXP_PDU     a new message began before the old one was whole
    ├── TooManyWaits          N_WFT_OVRN      the other side kept asking for patience
    ├── OtherSideFull         N_BUFFER_OVFLW  the other side cannot take a message of this length
    └── MessageTooLong        N_ERROR         more was announced than we accept; answered with overflow

Source: ISO 15765-2:2016, 8.3.7 (result values); recalled, not checked against the text.
"""

from __future__ import annotations

from typing import ClassVar

from asleft.model.errors import Code, LinkError


class TransferBroken(LinkError):  # noqa: N818 - says what happened, as its children do
    """A transfer over ISO-TP ended without its message.

    Args:
        detail: what exactly, with the numbers.
        where: which address, if known.
    """

    standard: ClassVar[str] = "N_ERROR"

    def __init__(self, detail: str = "", where: str = "") -> None:
        super().__init__(Code.TRANSFER_BROKEN, detail, where)


class FlowControlSilent(TransferBroken):
    """No flow control frame came in the time N_Bs."""

    standard = "N_TIMEOUT_Bs"


class ConsecutiveSilent(TransferBroken):
    """The next consecutive frame did not come in the time N_Cr."""

    standard = "N_TIMEOUT_Cr"


class WrongSequenceNumber(TransferBroken):
    """A consecutive frame does not carry the next sequence number."""

    standard = "N_WRONG_SN"


class InvalidFlowStatus(TransferBroken):
    """A flow control frame carries a reserved flow status."""

    standard = "N_INVALID_FS"


class InterruptedByNew(TransferBroken):
    """A single or first frame came in the middle of a message; the new one is taken, the old one is lost."""

    standard = "N_UNEXP_PDU"


class TooManyWaits(TransferBroken):
    """More flow control *wait* frames in a row than we bear (N_WFTmax)."""

    standard = "N_WFT_OVRN"


class OtherSideFull(TransferBroken):
    """The other side answered a first frame with *overflow*."""

    standard = "N_BUFFER_OVFLW"


class MessageTooLong(TransferBroken):
    """A first frame announced more than the largest message we accept."""

    standard = "N_ERROR"
