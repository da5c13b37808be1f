"""Data identifiers of a bench module: services 22, 2E, 2F.

Build them with the makers below::

    text(0xF190, "vehicle identification number", vin)                  # stored text, read only
    live(0x0123, "throttle position", lambda: pack(throttle.percent))   # from the physics
    stored(0x0456, "variant", b"\\x01\\x02", writable=True)             # in the module's memory, writes counted
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

from .memory import Kept
from .service import Condition

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
    allowed: Mapping[int, int] | None = None,
    write: Write | None = None,
) -> Identifier:
    """Bit-field coding: the last bytes are ``checksum`` of those before; bits outside ``allowed`` (byte -> mask) refuse.

    Args:
        initial: body without checksum; it is appended here.
        checksum: of the body; None: no checksum.
        allowed: byte index -> mask of bits that may differ from ``initial``; None: all.
    """
    width = len(checksum(initial)) if checksum else 0
    whole = initial + (checksum(initial) if checksum else b"")
    base = write or Write()

    def check(data: bytes) -> int | None:
        body = data[: len(data) - width]
        if checksum and checksum(body) != data[len(data) - width :]:
            return 0x31
        if allowed is not None and any(
            (a ^ b) & ~allowed.get(i, 0) & 0xFF for i, (a, b) in enumerate(zip(body, initial, strict=True))
        ):
            return 0x31
        return base.check(data)

    rule = Write(base.sessions, base.level, base.conditions, check, base.done, base.takes_s)
    return Identifier(did, name, initial=whole, write=rule)
