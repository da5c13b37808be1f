"""Many data identifiers of one module: as many in one request as it takes, where the lengths of their data are known.

An answer to several identifiers can only be taken apart when each one's length is known; lengths are learned from
single answers and kept with the car. What does not come apart exactly is asked again one by one, so a replaced module
with other lengths costs time, never a wrong value::

    reader = IdentifierReader(talk, engine, known.modules.get("7E0", ModulePace()))
    found = await reader.read([0xF187, 0xF188, 0xF190])

Source: ISO 14229-1, service 22 with several identifiers (recalled).
"""

from __future__ import annotations

from collections.abc import Sequence

import msgspec

from asleft.codec.answer import AnswerMalformed
from asleft.codec.uds import read_data
from asleft.model.errors import AsleftError
from asleft.model.module import ModuleAddress
from asleft.model.reading import Absence
from asleft.ports.conversation import Conversation

from .errors import ModuleRefused
from .pace import ModulePace
from .reading_items import NO_ANSWER, absence_of, ask_or_absence, is_silence

#: Most identifiers that are tried in one request, and the longest answer that is asked for, bytes.
_MOST_AT_ONCE = 16
_LONGEST = 1024
#: Refusals that say: that was too much in one request.
_TOO_MUCH = frozenset({0x13, 0x14, 0x31})

#: Data of one identifier, or why it is not there.
Found = bytes | Absence


class IdentifierReader:
    """Reads identifiers of one module.

    Args:
        talk: conversation.
        address: module.
        known: what is known of it.

    Attributes:
        silent: it did not answer; then nothing more is asked.
        pace: what is known of the module now.
    """

    def __init__(self, talk: Conversation, address: ModuleAddress, known: ModulePace) -> None:
        self.silent = False
        self.pace = known
        self._talk = talk
        self._address = address

    async def read(self, identifiers: Sequence[int]) -> dict[int, Found]:
        """Each identifier's data or the reason why it is not there. Raises: LinkError (link-lost)."""
        found: dict[int, Found] = {}
        for group in self._groups(identifiers):
            if len(group) > 1 and not self.silent and await self._read_group(group, found):
                continue
            for identifier in group:
                found[identifier] = NO_ANSWER if self.silent else await self._read_one(identifier)
        return found

    def _groups(self, identifiers: Sequence[int]) -> list[list[int]]:
        groups: list[list[int]] = []
        room = 0
        most = self.pace.at_once or _MOST_AT_ONCE
        for identifier in identifiers:
            length = self.pace.lengths.get(identifier, _LONGEST)
            if not groups or len(groups[-1]) >= most or room < length + 2:
                groups.append([])
                room = _LONGEST
            groups[-1].append(identifier)
            room -= length + 2
        return groups

    async def _read_group(self, group: list[int], found: dict[int, Found]) -> bool:
        """Whether it could be taken apart completely; if not, each is asked on its own."""
        lengths = [(did, self.pace.lengths[did]) for did in group]
        try:
            parts = read_data.split_answer(await self._talk.ask(self._address, read_data.make_request(*group)), lengths)
        except ModuleRefused as error:
            if error.refusal in _TOO_MUCH:
                self._at_most(len(group) // 2)
            return False
        except AnswerMalformed:
            self._at_most(len(group) // 2)
            return False
        except AsleftError as error:
            if is_silence(absence_of(error)):
                self._at_most(1)
            return False
        found |= parts
        return len(parts) == len(group)

    def _at_most(self, number: int) -> None:
        self.pace = msgspec.structs.replace(self.pace, at_once=max(1, number))

    async def _read_one(self, identifier: int) -> Found:
        answer = await ask_or_absence(self._talk, self._address, read_data.make_request(identifier))
        if isinstance(answer, Absence):
            self.silent = is_silence(answer)
            return answer
        try:
            data = read_data.read_answer(answer, identifier)
        except AnswerMalformed as error:
            return absence_of(error)
        lengths = {**self.pace.lengths, identifier: len(data)}
        self.pace = msgspec.structs.replace(self.pace, lengths=lengths)
        return data
