"""What an ISO-TP session reports: a message came, a message is on its way, a transfer failed."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum, unique

from .errors import TransferBroken


@unique
class Direction(StrEnum):
    """Which half of a session an event is about."""

    SENDING = "sending"
    RECEIVING = "receiving"


@dataclass(frozen=True, slots=True)
class Received:
    """A whole message came.

    Attributes:
        payload: its bytes.
        started_s: time of its first frame, s, on the caller's clock.
        time_s: time of its last frame, s.
        functional: it was sent to everybody.
    """

    payload: bytes
    started_s: float
    time_s: float
    functional: bool = False


@dataclass(frozen=True, slots=True)
class Sent:
    """The last frame of a message was given out. It says nothing about its arrival."""

    payload: bytes
    time_s: float


@dataclass(frozen=True, slots=True)
class Began:
    """A first frame came and was accepted: a long message is on its way, ``length`` bytes."""

    length: int
    time_s: float


@dataclass(frozen=True, slots=True)
class TransferFailed:
    """A transfer ended without its message; ``error`` says how, ready to be raised."""

    direction: Direction
    error: TransferBroken
    time_s: float
    done: int
    length: int


IsoTpEvent = Received | Sent | Began | TransferFailed
