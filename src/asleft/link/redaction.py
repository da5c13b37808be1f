"""Keeps access keys out of logs of frames: what security access and authentication carry is blanked.

Follows each identifier's ISO-TP messages just far enough to know which frames belong to one of these services. The
service and its sub-function stay readable; the bytes after them become ``00``. A refusal carries no secret and stays.

Source: ISO 14229-1, services 27 (security access) and 29 (authentication); ISO 15765-2 frame kinds (recalled).
"""

from __future__ import annotations

from asleft.model.frame import CanFrame

_SECRET = frozenset({0x27, 0x67, 0x29, 0x69})
_SERVICE_AND_SUB = 2


class Redaction:
    """Blanks secret bytes frame by frame.

    Attributes:
        count: frames changed so far.
    """

    def __init__(self) -> None:
        self.count = 0
        self._left: dict[tuple[int, bool], int] = {}

    def clean(self, frame: CanFrame) -> CanFrame:
        """The frame as it may be written down; the same object when it holds no secret."""
        start = self._secret_from(frame)
        if start is None or start >= len(frame.data):
            return frame
        self.count += 1
        data = frame.data[:start] + bytes(len(frame.data) - start)
        return CanFrame(frame.id, data, frame.extended, frame.fd, frame.time_s)

    def _secret_from(self, frame: CanFrame) -> int | None:
        """First secret byte of the data field, or None."""
        data, key = frame.data, (frame.id, frame.extended)
        if not data:
            return None
        kind = data[0] >> 4
        if kind == 2:
            return self._continued(key, len(data))
        if kind == 0:
            self._left.pop(key, None)
            head = 2 if len(data) > 8 and data[0] == 0 else 1
            return self._begun(data, head)
        if kind == 1 and len(data) >= 8:
            head, length = (6, int.from_bytes(data[2:6], "big")) if data[:2] == b"\x10\x00" else (2, _short(data))
            self._left.pop(key, None)
            start = self._begun(data, head)
            if start is not None:
                self._left[key] = length - (len(data) - head)
            return start
        return None

    @staticmethod
    def _begun(data: bytes, head: int) -> int | None:
        return head + _SERVICE_AND_SUB if data[head : head + 1] and data[head] in _SECRET else None

    def _continued(self, key: tuple[int, bool], length: int) -> int | None:
        left = self._left.get(key, 0)
        if left <= 0:
            return None
        self._left[key] = left - (length - 1)
        return 1


def _short(data: bytes) -> int:
    return (data[0] & 0x0F) << 8 | data[1]
