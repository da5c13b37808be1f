"""Data identifiers of a bench module: services 22, 2E, 2F.

Build them with the makers below::

    text(0xF190, "vehicle identification number", vin)                  # stored text, read only
    live(0x0123, "throttle position", lambda: pack(throttle.percent))   # from the physics
    stored(0x0456, "variant", b"\\x01\\x02", writable=True)             # in the module's memory, writes counted
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field

from udsoncan.Request import Request

from .memory import Kept, Memory
from .service import Condition, Conversation, Later, Refuse, allowed, parse, positive, require

#: Sessions in which writing is allowed unless said otherwise: extended.
EXTENDED = frozenset({0x03})


@dataclass(frozen=True)
class Write:
    """How an identifier may be written.

    Attributes:
        sessions: sessions that allow it (else 7F).
        level: security level (odd seed request) that must be open (else 33).
        conditions: looked at in order before writing.
        check: None when the bytes are acceptable, else a negative response code (31 most often).
        done: called with the bytes after they were stored.
        takes_s: how long the write takes, s; longer than P2 shows as response pending.
    """

    sessions: frozenset[int] = EXTENDED
    level: int | None = None
    conditions: tuple[Condition, ...] = ()
    check: Callable[[bytes], int | None] = lambda _data: None
    done: Callable[[bytes], None] = lambda _data: None
    takes_s: float = 0.0


@dataclass(frozen=True)
class Identifier:
    """One data identifier.

    Attributes:
        did: 16-bit data identifier.
        name: what it is, for documentation.
        read: gives the bytes; None: the stored ones are read.
        initial: stored bytes at manufacture; None: nothing is stored.
        kept: how long stored bytes are remembered.
        write: how it may be written; None: read only (2E answers 31).
        control: service 2F: called with (option, state bytes), gives the state bytes to report; None: not supported.
        read_sessions: sessions that allow reading; empty: all.
        read_level: security level for reading; None: none.
        conditions: looked at before reading.
    """

    did: int
    name: str
    read: Callable[[], bytes] | None = None
    initial: bytes | None = None
    kept: Kept = Kept.LASTING
    write: Write | None = None
    control: Callable[[int, bytes], bytes] | None = None
    read_sessions: frozenset[int] = field(default_factory=frozenset[int])
    read_level: int | None = None
    conditions: tuple[Condition, ...] = ()


def text(did: int, name: str, value: str, write: Write | None = None) -> Identifier:
    """Stored ASCII text of fixed length, as VIN (F190), part (F187), software (F189), serial number (F18C)."""
    return Identifier(did, name, initial=value.encode("ascii"), write=write)


def live(did: int, name: str, read: Callable[[], bytes]) -> Identifier:
    """Read only, from the physics at the moment of asking."""
    return Identifier(did, name, read=read)


def number(
    did: int, name: str, read: Callable[[], float], *, scale: float, offset: float = 0.0, size: int = 2
) -> Identifier:
    """Read only, unsigned big-endian: raw = (value - offset) / scale, held at the ends of the range."""
    top = (1 << (8 * size)) - 1

    def encode() -> bytes:
        return min(top, max(0, round((read() - offset) / scale))).to_bytes(size, "big")

    return Identifier(did, name, read=encode)


def stored(did: int, name: str, initial: bytes, *, kept: Kept = Kept.LASTING, write: Write | None = None) -> Identifier:
    """Bytes in the module's memory; a write must have the same length (else 13)."""
    return Identifier(did, name, initial=initial, kept=kept, write=write)


def coding(
    did: int,
    name: str,
    initial: bytes,
    *,
    checksum: Callable[[bytes], bytes] | None = None,
    changeable: Mapping[int, int] | None = None,
    write: Write | None = None,
) -> Identifier:
    """Bit-field coding whose last bytes are ``checksum`` of those before; other bits than ``changeable`` refuse (31).

    Args:
        initial: body without checksum; it is appended here.
        checksum: of the body; None: no checksum.
        changeable: byte index -> mask of bits that may differ from ``initial``; None: all.
    """
    width = len(checksum(initial)) if checksum else 0
    whole = initial + (checksum(initial) if checksum else b"")
    base = write or Write()

    def check(data: bytes) -> int | None:
        body = data[: len(data) - width]
        if checksum and checksum(body) != data[len(data) - width :]:
            return 0x31
        if changeable is not None and _differs_outside(body, initial, changeable):
            return 0x31
        return base.check(data)

    rule = Write(base.sessions, base.level, base.conditions, check, base.done, base.takes_s)
    return Identifier(did, name, initial=whole, write=rule)


def _differs_outside(body: bytes, initial: bytes, masks: Mapping[int, int]) -> bool:
    pairs = enumerate(zip(body, initial, strict=True))
    return any((new ^ old) & ~masks.get(index, 0) & 0xFF for index, (new, old) in pairs)


class IdentifierService:
    """Services 22 (several identifiers in one request), 2E and 2F over a module's identifiers and memory."""

    sids = (0x22, 0x2E, 0x2F)

    def __init__(self, identifiers: Iterable[Identifier], memory: Memory, longest_answer: int = 4095) -> None:
        self._memory = memory
        self._longest = longest_answer
        self._known: dict[int, Identifier] = {}
        for item in identifiers:
            if item.did in self._known:
                raise ValueError(f"identifier {item.did:04X} is declared twice")
            self._known[item.did] = item
            if item.initial is not None:
                memory.declare(cell(item.did), item.initial, item.kept)

    def handle(self, request: bytes, talk: Conversation) -> bytes:
        """Answer 22, 2E or 2F."""
        parsed = parse(request)
        data = parsed.data or b""
        match request[0]:
            case 0x22:
                return positive(parsed, self._read(data, talk))
            case 0x2E:
                return self._write(parsed, data, talk)
            case _:
                return positive(parsed, self._control(data, talk))

    def peek(self, did: int) -> bytes:
        """Content now, no conditions asked. Raises KeyError: unknown."""
        item = self._known[did]
        return item.read() if item.read is not None else bytes(self._memory[cell(did)])

    def writes(self, did: int) -> int:
        """How often a stored identifier was written."""
        return self._memory.writes(cell(did))

    def _find(self, data: bytes) -> Identifier:
        item = self._known.get(int.from_bytes(data[:2], "big"))
        if item is None:
            raise Refuse(0x31)
        return item

    def _read(self, data: bytes, talk: Conversation) -> bytes:
        """All known identifiers of the request; one alone that is unknown, or all unknown, is out of range."""
        if not data or len(data) % 2:
            raise Refuse(0x13)
        answer = bytearray()
        for start in range(0, len(data), 2):
            item = self._known.get(int.from_bytes(data[start : start + 2], "big"))
            if item is None:
                continue
            allowed(item.read_sessions, item.read_level, talk)
            require(item.conditions)
            answer += item.did.to_bytes(2, "big") + self.peek(item.did)
        if not answer:
            raise Refuse(0x31)
        if len(answer) >= self._longest:
            raise Refuse(0x14)
        return bytes(answer)

    def _write(self, parsed: Request, data: bytes, talk: Conversation) -> bytes:
        if len(data) < 3:
            raise Refuse(0x13)
        item = self._find(data)
        rule = item.write
        if rule is None:
            raise Refuse(0x31)
        allowed(rule.sessions, rule.level, talk)
        content = data[2:]
        if item.initial is not None and len(content) != len(item.initial):
            raise Refuse(0x13)
        require(rule.conditions)
        refusal = rule.check(content)
        if refusal is not None:
            raise Refuse(refusal)

        def store() -> bytes:
            if item.initial is not None:
                self._memory[cell(item.did)] = content
            rule.done(content)
            return positive(parsed, data[:2])

        if rule.takes_s > 0.0:
            raise Later(rule.takes_s, store)
        return store()

    def _control(self, data: bytes, talk: Conversation) -> bytes:
        if len(data) < 3:
            raise Refuse(0x13)
        item = self._find(data)
        if item.control is None:
            raise Refuse(0x31)
        allowed(EXTENDED, None, talk)
        return data[:3] + item.control(data[2], data[3:])


def cell(did: int) -> str:
    """Name of the memory cell of a stored identifier."""
    return f"identifier {did:04X}"
