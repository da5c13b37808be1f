"""Whole messages out of frames that go by, without sending anything: for logs, and for listening beside another tester.

Follows ISO-TP on every identifier on its own; a message with a missing frame is dropped and counted, never guessed::

    ear = Ear()
    message = ear.feed(frame)      # None, or an Overheard with its bytes

Normal addressing only. Not every frame on a bus is ISO-TP: frames of other traffic may look like single frames; whoever
uses this decides which identifiers count, and ``other_traffic`` helps. Source: ISO 15765-2 (recalled).
"""

from __future__ import annotations

import msgspec

from asleft.codec.isotp.frames import Consecutive, First, Single, parse
from asleft.model.frame import CanFrame

from .redaction import clean_message

#: Longest message that is followed, bytes, and longest pause within one, s (ISO 15765-2, N_Cr 1 s, recalled).
_LONGEST = 4095
_PAUSE_S = 1.0


class Overheard(msgspec.Struct, frozen=True):
    """One whole message that went by.

    Attributes:
        id, extended: identifier it went on.
        payload: its bytes; what security services carry is blanked.
        time_s: of its last frame, s.
    """

    id: int
    extended: bool
    payload: bytes
    time_s: float

    @property
    def text(self) -> str:
        """``7E8 62 F1 90 …``."""
        return f"{self.id:0{8 if self.extended else 3}X} {self.payload.hex(' ').upper()}"


class _Collecting(msgspec.Struct):
    length: int
    data: bytearray
    number: int
    time_s: float


class Ear:
    """Puts messages together, identifier by identifier.

    Attributes:
        broken: messages dropped because a frame was missing, doubled or late.
        other_traffic: identifiers that carried what no frame of ISO-TP can be, with their width.
    """

    def __init__(self) -> None:
        self.broken = 0
        self.other_traffic: set[tuple[int, bool]] = set()
        self._collecting: dict[tuple[int, bool], _Collecting] = {}

    def feed(self, frame: CanFrame) -> Overheard | None:
        """Take one frame; the message that it completes, if it does."""
        pdu = parse(frame.data)
        key, now_s = (frame.id, frame.extended), frame.time_s or 0.0
        match pdu:
            case Single(payload):
                self._drop(key)
                return self._whole(frame, payload)
            case First(length, data) if length <= _LONGEST:
                self._drop(key)
                self._collecting[key] = _Collecting(length, bytearray(data), 1, now_s)
            case Consecutive(number, data) if key in self._collecting:
                return self._go_on(frame, key, number, data)
            case None:
                self.other_traffic.add(key)
            case _:
                pass
        return None

    def _go_on(self, frame: CanFrame, key: tuple[int, bool], number: int, data: bytes) -> Overheard | None:
        part, now_s = self._collecting[key], frame.time_s or 0.0
        if number != part.number & 0x0F or now_s - part.time_s > _PAUSE_S:
            self._drop(key)
            return None
        part.data += data[: part.length - len(part.data)]
        part.number, part.time_s = part.number + 1, now_s
        if len(part.data) < part.length:
            return None
        del self._collecting[key]
        return self._whole(frame, bytes(part.data))

    def _drop(self, key: tuple[int, bool]) -> None:
        if self._collecting.pop(key, None) is not None:
            self.broken += 1

    @staticmethod
    def _whole(frame: CanFrame, payload: bytes) -> Overheard:
        return Overheard(frame.id, frame.extended, clean_message(payload), frame.time_s or 0.0)
