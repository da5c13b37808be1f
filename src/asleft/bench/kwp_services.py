"""Services of a KWP2000 bench module: 10 1A 14 18 21 27 30 31 32 33 3B 3E 81 82 and the OBD services.

Local identifiers, identification options and routines are one byte here. Codes are two bytes with a status byte.
Source: ISO 14230-3 (recalled, not checked against the text). Refusals as there: 12 also for a bad format, 22 also for
a wrong sequence, 23 routine not complete, 80 not in this session.
"""

from __future__ import annotations

from collections.abc import Iterable

from .identifiers import Identifier, cell
from .memory import Memory
from .routines import Routine, RoutineState, RunningRoutine
from .service import Conversation, Later, Refuse, require
from .trouble_memory import CONFIRMED, FAILED, LAMP, NOT_TESTED_SINCE_CLEAR, PENDING, TroubleMemory

#: Sessions: standard, and the one in which adjustments are allowed.
STANDARD_SESSION = 0x81
ADJUSTMENT_SESSION = 0x87
NOT_IN_THIS_SESSION = 0x80
_NO_SUCH = 0x12
_SEQUENCE = 0x22
_NOT_COMPLETE = 0x23


def allowed_in(sessions: frozenset[int], level: int | None, talk: Conversation) -> None:
    """Raise `Refuse`: 80 outside ``sessions`` (empty: all), 33 while ``level`` is locked."""
    if sessions and talk.session not in sessions:
        raise Refuse(NOT_IN_THIS_SESSION)
    if level is not None and level not in talk.unlocked:
        raise Refuse(0x33)


class KwpSessionService:
    """10 start session, 3E tester present, 11 restart, 81 and 82 start and stop communication (framing does the rest).

    Args: key_bytes: told in the answer to 81.
    """

    sids = (0x10, 0x11, 0x20, 0x3E, 0x81, 0x82)

    def __init__(self, sessions: frozenset[int], key_bytes: bytes) -> None:
        self._sessions = sessions
        self._key_bytes = key_bytes

    def handle(self, request: bytes, talk: Conversation) -> bytes | None:
        """Answer one of them; 3E 02 asks for no answer."""
        match request[0]:
            case 0x10:
                if len(request) != 2 or request[1] not in self._sessions:
                    raise Refuse(_NO_SUCH)
                talk.session_changed(request[1])
                return bytes([0x50, request[1]])
            case 0x11:
                if len(request) != 2 or request[1] != 0x01:
                    raise Refuse(_NO_SUCH)
                talk.restart(0x01)
                return b"\x51"
            case 0x20:
                talk.session_changed(STANDARD_SESSION)
                return b"\x60"
            case 0x3E:
                return None if request[1:] == b"\x02" else b"\x7e"
            case 0x81:
                return b"\xc1" + self._key_bytes
            case _:
                talk.session_changed(STANDARD_SESSION)
                return b"\xc2"


class LocalIdentifierService:
    """21 read and 3B write by local identifier, 30 control, 1A identification (options 80 to 9F).

    Args:
        identifiers: numbers up to FF; those from 80 to 9F answer 1A.
        memory: of the module.
    """

    sids = (0x1A, 0x21, 0x30, 0x3B)

    def __init__(self, identifiers: Iterable[Identifier], memory: Memory) -> None:
        self._memory = memory
        self._known: dict[int, Identifier] = {}
        for item in identifiers:
            if not 0 <= item.did <= 0xFF or item.did in self._known:
                raise ValueError(f"local identifier {item.did:02X} is impossible or declared twice")
            self._known[item.did] = item
            if item.initial is not None:
                memory.declare(cell(item.did), item.initial, item.kept)

    def handle(self, request: bytes, talk: Conversation) -> bytes:
        """Answer one of them."""
        if len(request) < 2:
            raise Refuse(_NO_SUCH)
        item = self._known.get(request[1])
        if item is None or (request[0] == 0x1A) != (0x80 <= item.did <= 0x9F):
            raise Refuse(_NO_SUCH if request[0] != 0x3B else 0x31)
        head = bytes([request[0] + 0x40, item.did])
        match request[0]:
            case 0x1A | 0x21:
                allowed_in(item.read_sessions, item.read_level, talk)
                require(item.conditions)
                return head + self.peek(item.did)
            case 0x30:
                if item.control is None or len(request) < 3:
                    raise Refuse(_NO_SUCH)
                allowed_in(frozenset({ADJUSTMENT_SESSION}), None, talk)
                return head + request[2:3] + item.control(request[2], request[3:])
            case _:
                return self._write(item, head, request[2:], talk)

    def peek(self, number: int) -> bytes:
        """Content now. Raises KeyError: unknown."""
        item = self._known[number]
        return item.read() if item.read is not None else bytes(self._memory[cell(number)])

    def _write(self, item: Identifier, head: bytes, content: bytes, talk: Conversation) -> bytes:
        rule = item.write
        if rule is None:
            raise Refuse(0x31)
        sessions = frozenset({ADJUSTMENT_SESSION}) if rule.sessions == frozenset({0x03}) else rule.sessions
        allowed_in(sessions, rule.level, talk)
        if item.initial is not None and len(content) != len(item.initial):
            raise Refuse(_NO_SUCH)
        require(rule.conditions)
        refusal = rule.check(content)
        if refusal is not None:
            raise Refuse(refusal)

        def store() -> bytes:
            if item.initial is not None:
                self._memory[cell(item.did)] = content
            rule.done(content)
            return head

        if rule.takes_s > 0.0:
            raise Later(rule.takes_s, store)
        return store()


class LocalRoutineService:
    """31 start, 32 stop, 33 results of routines by local identifier."""

    sids = (0x31, 0x32, 0x33)

    def __init__(self, routines: Iterable[Routine]) -> None:
        self._known = {item.rid: RunningRoutine(item) for item in routines}

    def handle(self, request: bytes, talk: Conversation) -> bytes:
        """Answer one of them."""
        running = self._known.get(request[1]) if len(request) > 1 else None
        if running is None:
            raise Refuse(_NO_SUCH)
        routine = running.routine
        sessions = frozenset({ADJUSTMENT_SESSION}) if routine.sessions == frozenset({0x03}) else routine.sessions
        allowed_in(sessions, routine.level, talk)
        head = bytes([request[0] + 0x40, request[1]])
        match request[0]:
            case 0x31:
                if len(request) - 2 != routine.option_length:
                    raise Refuse(_NO_SUCH)
                if running.state is RoutineState.MOVING:
                    raise Refuse(_SEQUENCE)
                require(routine.start_conditions)
                running.start(request[2:], talk.now())
                return head
            case 0x32:
                if not running.started or not routine.can_stop:
                    raise Refuse(_SEQUENCE)
                running.stop()
                return head
            case _:
                if not running.started:
                    raise Refuse(_SEQUENCE)
                running.poll(talk.now())
                if running.state is RoutineState.MOVING:
                    raise Refuse(_NOT_COMPLETE)
                return head + running.record()

    def state(self, number: int) -> RoutineState:
        """Where a routine stands. Raises KeyError: unknown."""
        return self._known[number].state

    def poll(self, now_s: float) -> None:
        """Slow work of all moving routines."""
        for running in self._known.values():
            running.poll(now_s)

    def stop_all(self) -> None:
        """Session over or power lost."""
        for running in self._known.values():
            running.forget()


class KwpTroubleService:
    """18 read codes by status, 17 status of one, 14 clear."""

    sids = (0x14, 0x17, 0x18)

    def __init__(self, memory: TroubleMemory) -> None:
        self._memory = memory

    def handle(self, request: bytes, talk: Conversation) -> bytes:  # noqa: ARG002 - no session is asked for
        """Answer one of them; group FF00 or FFFF is all."""
        match request[0]:
            case 0x18:
                if len(request) != 4:
                    raise Refuse(_NO_SUCH)
                return self._list(0x58, stored_only=request[1] in {0x00, 0x02})
            case 0x17:
                number = int.from_bytes(request[1:3], "big")
                found = [self._record(code) for code in self._stored() if code >> 8 == number]
                if len(request) != 3:
                    raise Refuse(_NO_SUCH)
                return bytes([0x57, len(found)]) + b"".join(found)
            case _:
                if request[1:] not in {b"\xff\x00", b"\xff\xff"}:
                    raise Refuse(0x31)
                refusal = self._memory.clear_refused()
                if refusal is not None:
                    raise Refuse(refusal)
                self._memory.clear()
                return b"\x54" + request[1:]

    def _stored(self) -> list[int]:
        return self._memory.matching(PENDING | CONFIRMED)

    def _list(self, sid: int, *, stored_only: bool) -> bytes:
        codes = self._stored() if stored_only else [item.code for item, _ in self._memory.codes()]
        return bytes([sid, len(codes)]) + b"".join(self._record(code) for code in codes)

    def _record(self, code: int) -> bytes:
        return (code >> 8).to_bytes(2, "big") + bytes([kwp_status(self._memory.status(code))])


def kwp_status(status: int) -> int:
    """Status byte of ISO 14230-3 (recalled): 40 tested, 20 stored, 60 stored and present, 80 lamp on, 10 not tested."""
    result = 0x10 if status & NOT_TESTED_SINCE_CLEAR else 0x00
    if status & (PENDING | CONFIRMED):
        result |= 0x60 if status & FAILED else 0x20
    return result | (0x80 if status & LAMP else 0x00)
