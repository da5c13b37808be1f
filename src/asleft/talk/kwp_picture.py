"""A module's picture in KWP2000: identification by service 1A, values by local identifier, codes by service 18.

The identification options of KWP2000 are the low bytes of the UDS identifiers F180 to F19F.

Source: ISO 14230-3, services 1A, 21, 18 (recalled).
"""

from __future__ import annotations

from collections.abc import Sequence

from asleft.codec.answer import AnswerMalformed
from asleft.codec.kwp import codes, data
from asleft.codec.trouble_code import describe
from asleft.model.module import ModuleAddress
from asleft.model.reading import Absence, AbsenceKind
from asleft.model.trouble import CodeKind, TroubleCode
from asleft.ports.conversation import Conversation

from .identifiers import Found
from .reading_items import NO_ANSWER, absence_of, ask_or_absence, is_silence

_STANDARDISED = range(0xF180, 0xF1A0)
_IMPOSSIBLE = Absence(AbsenceKind.UNSUPPORTED, "KWP2000 has identifiers of one byte")


class KwpReader:
    """Reads identifiers of one KWP2000 module.

    Attributes:
        silent: it did not answer; then nothing more is asked.
    """

    def __init__(self, talk: Conversation, address: ModuleAddress) -> None:
        self.silent = False
        self._talk = talk
        self._address = address

    async def read(self, identifiers: Sequence[int]) -> dict[int, Found]:
        """Data or the reason why they are not there; F180 to F19F by service 1A, 00 to FF by service 21."""
        return {identifier: await self._read_one(identifier) for identifier in identifiers}

    async def _read_one(self, identifier: int) -> Found:
        if self.silent:
            return NO_ANSWER
        standard = identifier in _STANDARDISED
        if not standard and identifier > 0xFF:
            return _IMPOSSIBLE
        number = identifier & 0xFF
        request = data.identification_request(number) if standard else data.read_request(number)
        answer = await ask_or_absence(self._talk, self._address, request)
        if isinstance(answer, Absence):
            self.silent = is_silence(answer)
            return answer
        try:
            return (data.read_identification if standard else data.read_value)(answer, number)
        except AnswerMalformed as error:
            return absence_of(error)


async def read_kwp_codes(talk: Conversation, address: ModuleAddress) -> tuple[TroubleCode, ...] | Absence:
    """Codes that the module stores, or why there are none to be had."""
    answer = await ask_or_absence(talk, address, codes.codes_request())
    if isinstance(answer, Absence):
        return answer
    try:
        found = codes.read_codes(answer)
    except AnswerMalformed as error:
        return absence_of(error)
    return tuple(
        TroubleCode(
            code.code,
            address.name,
            CodeKind.PENDING if code.storage is codes.Storage.MATURING else CodeKind.STORED,
            status=code.status,
            text=describe(code.code).text,
        )
        for code in found
    )
