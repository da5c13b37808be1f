"""OBD answers on a K-line: the same content in messages of seven bytes at most.

Codes come three a message, filled with zeros, without a count; service 09 numbers its messages, four bytes each.
Source: SAE J1979 for ISO 14230-4 (recalled, not checked against the text).
"""

from __future__ import annotations

from .obd import ObdService
from .service import Conversation, Refuse

_CODES = frozenset({0x43, 0x47, 0x4A})
_INFORMATION = 0x49


class KwpObdService:
    """The OBD services of a module on a K-line: one parameter a request.

    Args: inner: gives the content.
    """

    sids = ObdService.sids

    def __init__(self, inner: ObdService) -> None:
        self._inner = inner

    def handle(self, request: bytes, talk: Conversation) -> bytes | None:
        """Answer as on CAN; `split` makes messages of it."""
        if request[0] == 0x01 and len(request) != 2:
            raise Refuse(0x12)
        return self._inner.handle(request, talk)


def split(answer: bytes) -> list[bytes]:
    """An OBD answer in CAN form as the messages of a K-line; others as they are."""
    if answer[0] in _CODES:
        codes = answer[2:]
        return [answer[:1] + codes[start : start + 6].ljust(6, b"\x00") for start in range(0, max(len(codes), 1), 6)]
    if answer[0] == _INFORMATION and answer[1] % 0x20:
        content = answer[3:]
        content = content.rjust(-(-len(content) // 4) * 4, b"\x00")
        parts = [content[start : start + 4] for start in range(0, len(content), 4)]
        return [answer[:2] + bytes([number]) + part for number, part in enumerate(parts, start=1)]
    if answer[0] == _INFORMATION:
        return [answer[:2] + b"\x01" + answer[2:]]
    return [answer]
