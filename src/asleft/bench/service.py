"""What all diagnostic services of a bench module share: refusing, answering later, the state of the conversation.

A service is an object with the service identifiers it answers and one method::

    class Hello:
        sids = (0xBA,)

        def handle(self, request: bytes, talk: Conversation) -> bytes | None:
            if talk.session == 0x01:
                raise Refuse(0x7F)
            return bytes([0xFA])
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Protocol

from udsoncan.BaseService import BaseService
from udsoncan.Request import Request
from udsoncan.Response import Response

#: A condition looks at the car now: None when it holds, else the negative response code that says why not.
Condition = Callable[[], "int | None"]


class Refuse(Exception):  # noqa: N818 - a refusal is an answer, not an error
    """Answer with this negative response code (ISO 14229-1 annex A; list in udsoncan.ResponseCode)."""

    def __init__(self, nrc: int) -> None:
        super().__init__(f"refused, {nrc:02X}")
        self.nrc = nrc


class Later(Exception):  # noqa: N818
    """Answer after ``delay_s``; until then the module says response pending (78) as the timing asks.

    Args:
        delay_s: how long the work takes, s.
        then: does it and gives the positive answer, or raises `Refuse`.
    """

    def __init__(self, delay_s: float, then: Callable[[], bytes]) -> None:
        super().__init__(f"answers in {delay_s} s")
        self.delay_s = delay_s
        self.then = then


@dataclass
class Conversation:
    """State that services share: session, access, what the tester switched.

    Attributes:
        now: gives the module's clock, s.
        session: active session, 01 default.
        unlocked: security levels (odd request seeds) open now.
        functional: the request came to the functional address.
        code_setting: codes are stored (85 01) or not (85 02).
        normal_sending: broadcasts are sent (28 00) or not.
        restart: called with the kind of 11 after its answer has gone.
        session_changed: called with the new session by whoever changes it.
    """

    now: Callable[[], float]
    session: int = 0x01
    unlocked: set[int] = field(default_factory=set[int])
    functional: bool = False
    code_setting: bool = True
    normal_sending: bool = True
    restart: Callable[[int], None] = lambda _kind: None
    session_changed: Callable[[int], None] = lambda _session: None


class Service(Protocol):
    """Answers one or more service identifiers."""

    @property
    def sids(self) -> tuple[int, ...]:
        """Service identifiers it answers."""
        ...

    def handle(self, request: bytes, talk: Conversation) -> bytes | None:
        """The positive answer for a request (first byte: the identifier); None: say nothing.

        Raises: Refuse: negative answer. Later: answer after a while.
        """
        ...


def require(conditions: Iterable[Condition]) -> None:
    """Raise `Refuse` with the code of the first condition that does not hold."""
    for condition in conditions:
        nrc = condition()
        if nrc is not None:
            raise Refuse(nrc)


def allowed(sessions: frozenset[int], level: int | None, talk: Conversation) -> None:
    """Raise `Refuse`: 7F outside ``sessions`` (empty: all), 33 while security level ``level`` is locked."""
    if sessions and talk.session not in sessions:
        raise Refuse(0x7F)
    if level is not None and level not in talk.unlocked:
        raise Refuse(0x33)


def refuse_if(test: Callable[[], bool], nrc: int) -> Condition:
    """A condition that refuses with ``nrc`` while ``test`` is true: ``refuse_if(lambda: engine.rpm > 50, 0x83)``."""
    return lambda: nrc if test() else None


@lru_cache(maxsize=4096)
def parse(request: bytes) -> Request:
    """A request read by udsoncan; sub-function without its suppress bit. Nobody changes what it gives.

    Kept once read: udsoncan looks through all its service classes for every request.
    Raises: Refuse: 11, no such service; 13, too short.
    """
    parsed = Request.from_payload(request)
    if parsed.service is None:
        raise Refuse(0x11)
    if parsed.service.use_subfunction() and parsed.subfunction is None:
        raise Refuse(0x13)
    return parsed


def positive(request: Request, data: bytes = b"") -> bytes:
    """The bytes of a positive answer; its head is built by udsoncan, once for each service."""
    return _positive_head(request.service) + data


@lru_cache(maxsize=64)
def _positive_head(service: type[BaseService] | None) -> bytes:
    return Response(service=service, code=0).get_payload()


def need_length(data: bytes | None, least: int, most: int | None = None) -> bytes:
    """The data of a request; raises `Refuse` (13) when it is shorter or longer than asked."""
    content = data or b""
    if len(content) < least or len(content) > (least if most is None else most):
        raise Refuse(0x13)
    return content
