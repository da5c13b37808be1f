"""Picks the service for a request and turns what it says into the bytes of an answer. No time, no bus."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from functools import lru_cache

from udsoncan.BaseService import BaseService
from udsoncan.Response import Response
from udsoncan.ResponseCode import ResponseCode

from .service import Conversation, Later, Refuse, Service

#: Refusals that a module keeps to itself when it was asked functionally (ISO 14229-1, recalled).
SILENT_WHEN_FUNCTIONAL = frozenset({0x11, 0x12, 0x31, 0x7E, 0x7F})
BUSY = 0x21
PENDING = 0x78


class Server:
    """The services of one module.

    Args:
        services: later ones win over earlier ones of the same identifier.
        talk: state of the conversation.
        busy: while True every request is refused with 21.
        without: service identifiers the module does not have.
        quiet: whether a request asks for no positive answer; UDS's suppress bit when None.
    """

    def __init__(
        self,
        services: Iterable[Service],
        talk: Conversation,
        busy: Callable[[], bool],
        without: frozenset[int] = frozenset(),
        quiet: Callable[[bytes], bool] | None = None,
    ) -> None:
        self.talk = talk
        self._quiet = quiet or suppressed
        self._busy = busy
        self._services = {sid: service for service in services for sid in service.sids if sid not in without}

    def answer(self, request: bytes, *, functional: bool) -> bytes | None:
        """The answer now, None for silence. Raises `Later`: not yet; its ``then`` goes through `finish`."""
        quiet = self._quiet(request)
        self.talk.functional = functional
        try:
            if self._busy():
                raise Refuse(BUSY)
            service = self._services.get(request[0])
            if service is None:
                raise Refuse(0x11)
            answer = service.handle(request, self.talk)
        except Refuse as refusal:
            return self.refusal(request, refusal.nrc, functional=functional)
        return None if quiet else answer

    def finish(self, request: bytes, later: Later, *, functional: bool) -> bytes | None:
        """The final answer after response pending: never suppressed."""
        self.talk.functional = functional
        try:
            return later.then()
        except Refuse as refusal:
            return self.refusal(request, refusal.nrc, functional=functional)

    @staticmethod
    def refusal(request: bytes, nrc: int, *, functional: bool = False) -> bytes | None:
        """7F, service, code; None when that is kept silent."""
        if functional and nrc in SILENT_WHEN_FUNCTIONAL:
            return None
        return negative(request[0], nrc)


@lru_cache(maxsize=4096)
def suppressed(request: bytes) -> bool:
    """Whether the request has a sub-function with the suppress bit (80)."""
    service = BaseService.from_request_id(request[0]) if request else None
    return service is not None and service.use_subfunction() and len(request) > 1 and bool(request[1] & 0x80)


@lru_cache(maxsize=4096)
def negative(sid: int, nrc: int) -> bytes:
    """A negative answer; built by udsoncan where it knows service and code (it has no OBD services, no 80 of KWP)."""
    service = BaseService.from_request_id(sid)
    if service is None or not ResponseCode.is_negative(nrc):
        return bytes([0x7F, sid, nrc])
    return Response(service=service, code=nrc).get_payload()
