"""Sessions and switches of a bench module: services 10, 11, 28, 3E, 85; and how fast a module is."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from udsoncan.Request import Request

from .service import Condition, Conversation, Refuse, need_length, parse, positive, require

DEFAULT_SESSION = 0x01


@dataclass(frozen=True)
class Timing:
    """How fast a module is, all s.

    Attributes:
        latency_s: from the end of a request to the start of the answer.
        jitter_s: added to it, evenly spread from 0 to this, seeded by the module's name.
        p2_s, p2_star_s: limits it tells in the answer to 10 and keeps.
        s3_s: session falls back to default after this long without a request.
        boot_s: silent after power-on and after 11.
        after_run_s: still answers this long after power-off.
        stmin, block_size: of its flow control frames (raw byte, frames).
    """

    latency_s: float = 0.005
    jitter_s: float = 0.0
    p2_s: float = 0.050
    p2_star_s: float = 5.0
    s3_s: float = 5.0
    boot_s: float = 0.3
    after_run_s: float = 0.0
    stmin: int = 0
    block_size: int = 8


@dataclass(frozen=True)
class Sessions:
    """Sessions a module has and what it asks before it changes into one.

    Attributes:
        supported: session numbers (01 default, 02 programming, 03 extended, others by maker).
        conditions: session -> conditions looked at before entering.
        reset_conditions: looked at before 11.
        reset_kinds: kinds of 11 it has (01 hard, 02 key off and on, 03 soft).
    """

    supported: frozenset[int] = frozenset({0x01, 0x02, 0x03})
    conditions: Mapping[int, tuple[Condition, ...]] = field(default_factory=dict[int, tuple[Condition, ...]])
    reset_conditions: tuple[Condition, ...] = ()
    reset_kinds: frozenset[int] = frozenset({0x01, 0x02, 0x03})


class SessionService:
    """Services 10, 11, 28, 3E, 85."""

    sids = (0x10, 0x11, 0x28, 0x3E, 0x85)

    def __init__(self, sessions: Sessions, timing: Timing) -> None:
        self._sessions = sessions
        self._timing = timing

    def handle(self, request: bytes, talk: Conversation) -> bytes:
        """Answer one of them."""
        parsed = parse(request)
        function = parsed.subfunction or 0
        match request[0]:
            case 0x10:
                return self._change(parsed, function, talk)
            case 0x11:
                return self._restart(parsed, function, talk)
            case 0x28:
                return _switch_sending(parsed, function, talk)
            case 0x85:
                return _switch_codes(parsed, function, talk)
            case _:
                if function != 0:
                    raise Refuse(0x12)
                need_length(parsed.data, 0)
                return positive(parsed, b"\x00")

    def _change(self, parsed: Request, session: int, talk: Conversation) -> bytes:
        if session not in self._sessions.supported:
            raise Refuse(0x12)
        need_length(parsed.data, 0)
        require(self._sessions.conditions.get(session, ()))
        talk.session_changed(session)
        p2_ms = round(self._timing.p2_s * 1000)
        p2_star_10ms = round(self._timing.p2_star_s * 100)
        return positive(parsed, bytes([session]) + p2_ms.to_bytes(2, "big") + p2_star_10ms.to_bytes(2, "big"))

    def _restart(self, parsed: Request, kind: int, talk: Conversation) -> bytes:
        if kind not in self._sessions.reset_kinds:
            raise Refuse(0x12)
        need_length(parsed.data, 0)
        require(self._sessions.reset_conditions)
        talk.restart(kind)
        return positive(parsed, bytes([kind]))


def _not_in_default(talk: Conversation) -> None:
    if talk.session == DEFAULT_SESSION:
        raise Refuse(0x7F)


def _switch_sending(parsed: Request, function: int, talk: Conversation) -> bytes:
    """28: 00 and 01 send, 02 and 03 do not; communication type bit 0 is normal messages."""
    _not_in_default(talk)
    if function not in {0, 1, 2, 3}:
        raise Refuse(0x12)
    kinds = need_length(parsed.data, 1)[0]
    if kinds & 0x0F not in {1, 2, 3}:
        raise Refuse(0x31)
    if kinds & 0x01:
        talk.normal_sending = function in {0, 1}
    return positive(parsed, bytes([function]))


def _switch_codes(parsed: Request, function: int, talk: Conversation) -> bytes:
    """85: 01 stores codes, 02 does not."""
    _not_in_default(talk)
    if function not in {1, 2}:
        raise Refuse(0x12)
    talk.code_setting = function == 1
    return positive(parsed, bytes([function]))
