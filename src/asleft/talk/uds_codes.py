"""Trouble codes of a module by UDS (19 02), as values.

Source: ISO 14229-1, service 19 and annex D (recalled).
"""

from __future__ import annotations

from asleft.codec.answer import AnswerMalformed
from asleft.codec.trouble_code import Status, describe
from asleft.codec.uds import read_codes
from asleft.model.module import ModuleAddress
from asleft.model.reading import Absence
from asleft.model.trouble import CodeKind, TroubleCode
from asleft.ports.conversation import Conversation

from .reading_items import absence_of, ask_or_absence

#: Present now, pending or confirmed: what a technician calls "a code is there".
MASK = int(Status.TEST_FAILED | Status.PENDING | Status.CONFIRMED)


async def read_uds_codes(talk: Conversation, address: ModuleAddress) -> tuple[TroubleCode, ...] | Absence:
    """Codes that are present, pending or confirmed, or why there are none to be had."""
    answer = await ask_or_absence(talk, address, read_codes.list_request(MASK))
    if isinstance(answer, Absence):
        return answer
    try:
        found = read_codes.read_list(answer)
    except AnswerMalformed as error:
        return absence_of(error)
    return tuple(
        TroubleCode(
            code.code,
            address.name,
            CodeKind.STORED if code.status & Status.CONFIRMED else CodeKind.PENDING,
            code.failure_type,
            code.status,
            describe(code.code).text,
        )
        for code in found.codes
    )
