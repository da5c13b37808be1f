"""Screening: each code of the as-received and as-found pictures gets one class for each planned function. Pure.

*Block* is repaired first; *expected* goes on and must be gone in the end; *unrelated* stands in the report; *unsorted*
waits for a person. In which picture a code was first seen matters: what the work brings is not there as received.

Use::

    codes = screen("throttle-stop-learn", procedure.screening, as_received, as_found, module="engine")
    gate(codes).open                  # or what blocks, what waits
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import msgspec

from asleft.book.code_list import entry_for
from asleft.book.procedure import Others, Screening
from asleft.model.errors import Code, InputError
from asleft.model.message import Message, say
from asleft.model.module import Picture, PictureKind
from asleft.model.trouble import CodeKind, TroubleCode
from asleft.model.work import ScreenClass, ScreenedCode

#: Failure types that tell of a missing function: not programmed … invalid configuration.
#: Source: SAE J2012-DA / ISO 15031-6 (values recalled).
MISSING_FUNCTION = range(0x51, 0x57)

_KINDS = (CodeKind.STORED, CodeKind.PENDING, CodeKind.PERMANENT)
_Seen = tuple[PictureKind, ...]


def screen(
    function: str, lists: Screening, as_received: Picture | None, as_found: Picture | None, *, module: str = ""
) -> tuple[ScreenedCode, ...]:
    """One class for each code of both pictures, in the order of the pictures.

    Args:
        as_received, as_found: None or *not taken* where there is none.
        module: the one the procedure talks to; codes of others may be sorted by ``lists.elsewhere``.
    """
    taken = [p for p in (as_received, as_found) if p is not None and not p.not_taken]
    kinds = {p.kind for p in taken}
    result: list[ScreenedCode] = []
    for code, seen in _each(taken):
        others = lists.others if not module or code.module == module else lists.elsewhere
        sort, reason = _class(code, seen, lists, others, received=PictureKind.AS_RECEIVED in kinds)
        result.append(ScreenedCode(code, function, sort, seen, reason))
    return tuple(result)


def _each(pictures: Sequence[Picture]) -> list[tuple[TroubleCode, _Seen]]:
    """Each code once a module, from its strongest memory, with its pictures; failure type 00 says no more than none."""
    found: dict[tuple[str, str, int], tuple[TroubleCode, list[PictureKind]]] = {}
    for picture in pictures:
        for code in sorted(picture.codes, key=lambda c: _KINDS.index(c.kind)):
            key = (code.module, code.code, code.failure_type or 0)
            known = found.setdefault(key, (code, []))
            if picture.kind not in known[1]:
                known[1].append(picture.kind)
                found[key] = (code, known[1])
    return [(code, tuple(seen)) for code, seen in found.values()]


def _class(
    code: TroubleCode, seen: _Seen, lists: Screening, others: Others, *, received: bool
) -> tuple[ScreenClass, Message]:
    now = PictureKind.AS_FOUND in seen
    if entry := entry_for(code, lists.block):
        if now:
            return ScreenClass.BLOCK, say("screen.block", "{entry} is on the block list: repair first", entry=entry)
        return ScreenClass.UNRELATED, say("screen.gone", "{entry} would block, but is gone as found", entry=entry)
    if entry := entry_for(code, lists.expected_if_new):
        return _if_new(entry, seen, received=received)
    if entry := entry_for(code, lists.expected):
        told = "{entry} is expected after this work; it must be gone in the end"
        return ScreenClass.EXPECTED, say("screen.expected", told, entry=entry)
    if code.failure_type in MISSING_FUNCTION:
        told = "its failure type {type} tells of a missing function"
        return ScreenClass.EXPECTED, say("screen.missing-function", told, type=f"{code.failure_type:02X}")
    if not now:
        return ScreenClass.UNRELATED, say("screen.only-received", "seen as received only; gone as found")
    if others is Others.UNRELATED:
        told = "on no list; the procedure counts others in {module} as unrelated"
        return ScreenClass.UNRELATED, say("screen.others", told, module=code.module)
    return ScreenClass.UNSORTED, say("screen.unsorted", "on no list of this procedure: a person must sort it")


def _if_new(entry: str, seen: _Seen, *, received: bool) -> tuple[ScreenClass, Message]:
    if PictureKind.AS_RECEIVED in seen:
        told = "{entry} was there as received, before the work: its cause comes first"
        return ScreenClass.BLOCK, say("screen.not-new", told, entry=entry)
    if not received:
        told = (
            "{entry} is expected when the work brought it, and there is no as-received picture: a person must sort it"
        )
        return ScreenClass.UNSORTED, say("screen.not-known-new", told, entry=entry)
    return ScreenClass.EXPECTED, say(
        "screen.new", "{entry} came with the work; it must be gone in the end", entry=entry
    )


class ScreenGate(msgspec.Struct, frozen=True):
    """What keeps the function from starting: codes that block, codes that wait for a person."""

    blocking: tuple[ScreenedCode, ...]
    waiting: tuple[ScreenedCode, ...]

    @property
    def open(self) -> bool:
        """Nothing blocks and nothing waits."""
        return not self.blocking and not self.waiting


def gate(codes: Iterable[ScreenedCode]) -> ScreenGate:
    """Whether the screening passes."""
    listed = tuple(codes)
    return ScreenGate(
        tuple(c for c in listed if c.screen is ScreenClass.BLOCK),
        tuple(c for c in listed if c.screen is ScreenClass.UNSORTED),
    )


def sort_by_person(code: ScreenedCode, to: ScreenClass, by: str, reason: str, risk: int = 1) -> ScreenedCode:
    """A person's sorting of a code, with name and reason.

    Args: risk: of the function; at 3 and 4 a block stays.
    Raises: InputError: screening-refused.
    """
    if not by.strip() or not reason.strip():
        raise InputError(Code.SCREENING_REFUSED, "a name and a reason are needed")
    if to is ScreenClass.UNSORTED:
        raise InputError(Code.SCREENING_REFUSED, "sorted means block, expected or unrelated")
    if code.screen is ScreenClass.BLOCK and risk >= 3:
        raise InputError(Code.SCREENING_REFUSED, f"{code.code.full} blocks and the risk is {risk}: repair first")
    told = say("screen.person", "{by}: {reason}", by=by, reason=reason)
    return msgspec.structs.replace(code, screen=to, reason=told, sorted_by=by)
