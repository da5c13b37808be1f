"""Keeps access keys out of logs of frames: what security access and authentication carry is blanked.

Follows each identifier's ISO-TP messages just far enough to know which frames belong to one of these services. The
service and its sub-function stay readable; the bytes after them become ``00``. A refusal carries no secret and stays.

A frame may have an address byte in front of its data (extended and mixed addressing), and nothing in it says so. So
every frame outside the identifiers of OBD is read both ways, and what is secret in either is blanked: better a byte of
other traffic too many than a key in a file.

Source: ISO 14229-1, services 27 (security access) and 29 (authentication); ISO 15765-2 frame kinds (recalled).
"""

from __future__ import annotations

from asleft.model.frame import CanFrame

_SECRET = frozenset({0x27, 0x67, 0x29, 0x69})
_SERVICE_AND_SUB = 2
#: Identifiers that never have an address byte. Source: ISO 15765-4, ISO 15765-2 (recalled).
_OBD = range(0x7DF, 0x7F0)
_FIXED = (0x18DA, 0x18DB)


class Redaction:
    """Blanks secret bytes frame by frame.

    Attributes:
        count: frames changed so far.
    """

    def __init__(self) -> None:
        self.count = 0
        self._left: dict[tuple[int, bool, int], int] = {}

    def clean(self, frame: CanFrame) -> CanFrame:
        """The frame as it may be written down; the same object when it holds no secret."""
        starts = [self._secret_from(frame, prefix) for prefix in ((0,) if _is_plain(frame) else (0, 1))]
        start = min((s for s in starts if s is not None), default=None)
        if start is None or start >= len(frame.data):
            return frame
        self.count += 1
        data = frame.data[:start] + bytes(len(frame.data) - start)
        return CanFrame(frame.id, data, frame.extended, frame.fd, frame.time_s)

    def _secret_from(self, frame: CanFrame, prefix: int) -> int | None:
        """First secret byte of the data field, or None; with so many address bytes in front."""
        data, key = frame.data[prefix:], (frame.id, frame.extended, prefix)
        if not data:
            return None
        start: int | None = None
        kind = data[0] >> 4
        if kind == 2:
            start = self._continued(key, len(data))
        elif kind == 0:
            self._left.pop(key, None)
            escaped = len(frame.data) > 8 and data[0] == 0
            start = self._begun(data, 2 if escaped else 1) if escaped or not prefix or 0 < data[0] < 8 else None
        elif kind == 1 and len(frame.data) >= 8:
            head, length = (6, int.from_bytes(data[2:6], "big")) if data[:2] == b"\x10\x00" else (2, _short(data))
            self._left.pop(key, None)
            start = self._begun(data, head)
            if start is not None:
                self._left[key] = length - (len(data) - head)
        return None if start is None else start + prefix

    @staticmethod
    def _begun(data: bytes, head: int) -> int | None:
        return head + _SERVICE_AND_SUB if data[head : head + 1] and data[head] in _SECRET else None

    def _continued(self, key: tuple[int, bool, int], length: int) -> int | None:
        left = self._left.get(key, 0)
        if left <= 0:
            return None
        self._left[key] = left - (length - 1)
        return 1


def _is_plain(frame: CanFrame) -> bool:
    return frame.id >> 16 in _FIXED if frame.extended else frame.id in _OBD


def _short(data: bytes) -> int:
    return (data[0] & 0x0F) << 8 | data[1]


def clean_message(payload: bytes) -> bytes:
    """A whole message as it may be written down; the same object when it holds no secret."""
    if payload[:1] and payload[0] in _SECRET and len(payload) > _SERVICE_AND_SUB:
        return payload[:_SERVICE_AND_SUB] + bytes(len(payload) - _SERVICE_AND_SUB)
    return payload
