"""Services 14 and 19 over a module's trouble memory.

19: 01 count by mask, 02 codes by mask, 03 freeze frames stored, 04 one freeze frame, 06 counters, 0A codes known.
Format identifier 01 (ISO 14229-1, three bytes). Freeze frame record 01; extended records 01 occurrences and
02 operation cycles passed since the last failure.
"""

from __future__ import annotations

from collections.abc import Callable

from .service import Condition, Conversation, Refuse, need_length, parse, positive, require
from .trouble_memory import TroubleMemory

ALL_CODES = 0xFFFFFF
#: Group of emission-related codes (ISO 14229-1 annex D.1, recalled).
EMISSION_CODES = 0xFFFF33
_FORMAT = 0x01
_AVAILABLE = 0xFF
_ALL_RECORDS = 0xFF


class TroubleService:
    """Reads and clears.

    Args:
        memory: the codes.
        clear_conditions: looked at before clearing.
    """

    sids = (0x14, 0x19)

    def __init__(self, memory: TroubleMemory, clear_conditions: tuple[Condition, ...]) -> None:
        self._memory = memory
        self._clear_conditions = clear_conditions
        self._reports: dict[int, Callable[[bytes], bytes]] = {
            0x01: self._count,
            0x02: self._by_mask,
            0x03: self._freeze_list,
            0x04: self._freeze,
            0x06: self._counters,
            0x0A: self._known,
        }

    def handle(self, request: bytes, talk: Conversation) -> bytes:  # noqa: ARG002 - no session is asked for
        """Answer 14 or 19."""
        parsed = parse(request)
        data = parsed.data or b""
        if request[0] == 0x14:
            self._clear(data)
            return positive(parsed)
        report = self._reports.get(parsed.subfunction or 0)
        if report is None:
            raise Refuse(0x12)
        return positive(parsed, bytes([parsed.subfunction or 0]) + report(data))

    def _clear(self, data: bytes) -> None:
        group = int.from_bytes(need_length(data, 3), "big")
        code = None if group in {ALL_CODES, EMISSION_CODES} else group
        if code is not None:
            self._lookup(code)
        require(self._clear_conditions)
        refusal = self._memory.clear_refused(code)
        if refusal is not None:
            raise Refuse(refusal)
        self._memory.clear(code, emission_only=group == EMISSION_CODES)

    def _lookup(self, code: int) -> bytes:
        """Code and status, 4 bytes."""
        try:
            return code.to_bytes(3, "big") + bytes([self._memory.status(code)])
        except KeyError:
            raise Refuse(0x31) from None

    def _count(self, data: bytes) -> bytes:
        mask = need_length(data, 1)[0]
        return bytes([_AVAILABLE, _FORMAT]) + len(self._memory.matching(mask)).to_bytes(2, "big")

    def _by_mask(self, data: bytes) -> bytes:
        mask = need_length(data, 1)[0]
        return bytes([_AVAILABLE]) + b"".join(self._lookup(code) for code in self._memory.matching(mask))

    def _known(self, data: bytes) -> bytes:
        need_length(data, 0)
        return bytes([_AVAILABLE]) + b"".join(self._lookup(item.code) for item, _ in self._memory.codes())

    def _freeze_list(self, data: bytes) -> bytes:
        need_length(data, 0)
        stored = (item.code for item, state in self._memory.codes() if state.freeze is not None)
        return b"".join(code.to_bytes(3, "big") + b"\x01" for code in stored)

    def _freeze(self, data: bytes) -> bytes:
        content = need_length(data, 4)
        code = int.from_bytes(content[:3], "big")
        head = self._lookup(code)
        if content[3] not in {0x01, _ALL_RECORDS}:
            raise Refuse(0x31)
        frame = self._memory.state(code).freeze
        return head if frame is None else head + b"\x01" + frame

    def _counters(self, data: bytes) -> bytes:
        content = need_length(data, 4)
        code = int.from_bytes(content[:3], "big")
        head = self._lookup(code)
        state = self._memory.state(code)
        records = {0x01: min(state.occurrences, 0xFF), 0x02: min(state.passed_cycles, 0xFF)}
        if content[3] != _ALL_RECORDS and content[3] not in records:
            raise Refuse(0x31)
        asked = records if content[3] == _ALL_RECORDS else {content[3]: records[content[3]]}
        return head + b"".join(bytes([number, value]) for number, value in asked.items())
