"""Asking one module for live values: as many at once as it takes, and remembering how many that is.

Two languages, one behaviour: parameters of OBD service 01 and data identifiers of UDS service 22. A module may refuse
several in one request, keep silent, or answer out of form. Then they are asked one by one; where that works, it stays
so.

Source: ISO 15765-4 / SAE J1979: up to six parameters in one request on CAN; ISO 14229-1: several identifiers in one
request (recalled).
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Protocol, runtime_checkable

import msgspec

from asleft.codec.answer import AnswerMalformed
from asleft.codec.obd import current
from asleft.codec.obd.parameters import PARAMETERS
from asleft.codec.uds import read_data
from asleft.model.errors import AsleftError, ModuleError
from asleft.model.module import ModuleAddress
from asleft.model.reading import Absence
from asleft.ports.clock import Clock
from asleft.ports.conversation import Conversation
from asleft.talk.errors import ModuleSilent
from asleft.talk.reading_items import absence_of

#: A live value that takes longer than this is of no use, s.
_LONGEST_S = 2.0
#: So often may a module be silent to several at once and then answer one, before it is asked one by one for good.
_DOUBTS = 2
#: Most identifiers of service 22 in one request, and the longest answer asked for, bytes (common practice, no source).
_MOST_IDENTIFIERS = 16
_LONGEST_ANSWER = 256


class Taken(msgspec.Struct, frozen=True):
    """What one request brought.

    Attributes:
        asked: parameters or identifiers of the request.
        parts: data bytes of each; those left out are missing.
        answer: the whole answer.
        time_s: when it was received, s on the clock.
        absence: why there is no answer.
    """

    asked: tuple[int, ...]
    parts: dict[int, bytes]
    answer: bytes
    time_s: float
    absence: Absence | None = None


Take = Callable[[Taken], None]


class _Answer(Protocol):
    @property
    def data(self) -> bytes: ...

    @property
    def time_s(self) -> float: ...


@runtime_checkable
class _Timed(Protocol):
    """A conversation that says when an answer was received."""

    async def ask_timed(self, target: ModuleAddress, request: bytes, *, deadline_s: float | None = None) -> _Answer: ...


class Asking:
    """Requests to one module; the language is filled in by the classes below.

    Args:
        talk: conversation.
        clock: for the time of receipt, where the conversation does not say it.
        address: module.

    Attributes:
        at_once: how many go into one request.
        within_s: longest wait for an answer, retries included, s.
    """

    at_once: int
    within_s: float

    def __init__(self, talk: Conversation, clock: Clock, address: ModuleAddress) -> None:
        self._talk = talk
        self._clock = clock
        self._address = address
        self._doubts = 0
        self.within_s = _LONGEST_S

    async def once(self, keys: tuple[int, ...], take: Take, until_s: float = float("inf")) -> None:
        """Ask for each once; ``take`` gets what each request brought. Ends early at ``until_s``.

        Raises: LinkError (link-lost).
        """
        for group in self._groups(keys):
            if self._clock.now() >= until_s:
                return
            taken = await self._ask(group)
            if taken is not None:
                take(taken)
                continue
            for key in group:
                single = await self._ask((key,))
                if single is not None:
                    take(single)

    # -- filled in by the language ---------------------------------------------------------------------------------

    def _groups(self, keys: tuple[int, ...]) -> list[tuple[int, ...]]:
        raise NotImplementedError

    def _request(self, group: tuple[int, ...]) -> bytes:
        raise NotImplementedError

    def _split(self, answer: bytes, group: tuple[int, ...]) -> dict[int, bytes]:
        raise NotImplementedError

    # -- common ----------------------------------------------------------------------------------------------------

    async def _ask(self, group: tuple[int, ...]) -> Taken | None:
        """One request; None: this module wants them one by one."""
        several = len(group) > 1
        try:
            answer, time_s = await self._receive(self._request(group))
            parts = self._split(answer, group)
        except ModuleSilent as error:
            if several and await self._answers_one(group[0]):
                return None
            return self._absent(group, error)
        except (ModuleError, AnswerMalformed) as error:
            if several:
                self.at_once = 1
                return None
            return self._absent(group, error)
        except AsleftError as error:
            return self._absent(group, error)
        return Taken(group, parts, answer, time_s)

    async def _answers_one(self, key: int) -> bool:
        try:
            await self._receive(self._request((key,)))
        except ModuleError:
            return False
        self._doubts += 1
        if self._doubts >= _DOUBTS:
            self.at_once = 1
        return True

    def _absent(self, group: tuple[int, ...], error: AsleftError) -> Taken:
        return Taken(group, {}, b"", self._clock.now(), absence_of(error))

    async def _receive(self, request: bytes) -> tuple[bytes, float]:
        if isinstance(self._talk, _Timed):
            answer = await self._talk.ask_timed(self._address, request, deadline_s=self.within_s)
            return answer.data, answer.time_s
        data = await self._talk.ask(self._address, request, deadline_s=self.within_s)
        return data, self._clock.now()


class ParameterAsking(Asking):
    """Parameters of OBD service 01."""

    at_once = current.MOST_AT_ONCE

    def _groups(self, keys: tuple[int, ...]) -> list[tuple[int, ...]]:
        alone = [pid for pid in keys if PARAMETERS[pid].alone]
        rest = [pid for pid in keys if not PARAMETERS[pid].alone]
        groups = [tuple(rest[i : i + self.at_once]) for i in range(0, len(rest), self.at_once)]
        return groups + [(pid,) for pid in alone]

    def _request(self, group: tuple[int, ...]) -> bytes:
        return current.current_request(group)

    def _split(self, answer: bytes, group: tuple[int, ...]) -> dict[int, bytes]:
        return current.split_current(answer, group)


class IdentifierAsking(Asking):
    """Data identifiers of UDS service 22; several at once as soon as their lengths are known from single answers."""

    at_once = _MOST_IDENTIFIERS

    def __init__(self, talk: Conversation, clock: Clock, address: ModuleAddress) -> None:
        super().__init__(talk, clock, address)
        self._lengths: dict[int, int] = {}

    def _groups(self, keys: tuple[int, ...]) -> list[tuple[int, ...]]:
        groups: list[tuple[int, ...]] = [(did,) for did in keys if did not in self._lengths]
        group: tuple[int, ...] = ()
        room = _LONGEST_ANSWER
        for did in keys:
            if did not in self._lengths:
                continue
            length = self._lengths[did] + 2
            if len(group) >= self.at_once or length > room:
                groups.append(group)
                group, room = (), _LONGEST_ANSWER
            group, room = (*group, did), room - length
        return [*groups, group] if group else groups

    def _request(self, group: tuple[int, ...]) -> bytes:
        return read_data.make_request(*group)

    def _split(self, answer: bytes, group: tuple[int, ...]) -> dict[int, bytes]:
        if len(group) > 1:
            return read_data.split_answer(answer, [(did, self._lengths[did]) for did in group])
        parts: dict[int, bytes] = {}
        for did in group:
            parts[did] = read_data.read_answer(answer, did)
            self._lengths[did] = len(parts[did])
        return parts
