"""One thing asked of a module, as an Item: its value in words or digits with its bytes, or why it is not there."""

from __future__ import annotations

from asleft.codec.answer import AnswerMalformed
from asleft.codec.isotp import TransferBroken
from asleft.model.errors import AsleftError
from asleft.model.module import Item, ModuleAddress
from asleft.model.reading import Absence, AbsenceKind, to_hex
from asleft.ports.conversation import Conversation

from .errors import LinkBusy, ModuleRefused, ModuleSilent, NotPassedOn
from .modules import Form, MappedItem

_SILENCE = "no answer"
NO_ANSWER = Absence(AbsenceKind.NOT_READ, _SILENCE)


def is_silence(found: object) -> bool:
    """Whether this says that the module did not answer at all."""
    return isinstance(found, Absence) and found.kind is AbsenceKind.NOT_READ and found.detail.startswith(_SILENCE)


#: Refusals that say: there is no such thing here. The others say: not now, or not for you.
_UNSUPPORTED = frozenset({0x11, 0x12, 0x31})


async def ask_or_absence(talk: Conversation, target: ModuleAddress, request: bytes) -> bytes | Absence:
    """The positive answer, or the reason why there is none. A lost link is raised."""
    try:
        return await talk.ask(target, request)
    except AsleftError as error:
        return absence_of(error)


def absence_of(error: AsleftError) -> Absence:
    """The reason that an error gives for a missing value.

    Raises: the error itself when it is none of the module's: the link is lost, or a fault of ours.
    """
    match error:
        case ModuleRefused(refusal=refusal) if refusal in _UNSUPPORTED:
            return Absence(AbsenceKind.UNSUPPORTED, refusal=refusal)
        case ModuleRefused(refusal=refusal):
            return Absence(AbsenceKind.REFUSED, error.detail, refusal)
        case NotPassedOn(why=why):
            return Absence(AbsenceKind.NOT_READ, f"{_SILENCE}: {why}")
        case ModuleSilent():
            return NO_ANSWER
        case AnswerMalformed() | TransferBroken() | LinkBusy():
            return Absence(AbsenceKind.NOT_READ, error.detail or error.cause)
        case _:
            raise error


def item_from(mapped: MappedItem, data: bytes) -> Item:
    """The item in an identifier's data bytes; too few bytes are an absence that keeps them."""
    end = len(data) if mapped.length is None else mapped.start + mapped.length
    part = data[mapped.start : end]
    if len(data) < end or not part:
        what = f"{len(data)} bytes; the map expects {end or mapped.start + 1}"
        return Item(mapped.key, mapped.name, raw=to_hex(data), absence=Absence(AbsenceKind.NOT_READ, what))
    return Item(mapped.key, mapped.name, _words(mapped, part), to_hex(data), mapped.unit)


def _words(mapped: MappedItem, part: bytes) -> str:
    match mapped.form:
        case Form.HEX:
            return to_hex(part)
        case Form.TEXT:
            return text_or_hex(part)
        case Form.NUMBER:
            raw = int.from_bytes(part, "big", signed=mapped.signed)
            return f"{raw * mapped.scale + mapped.offset:.10g}"


def text_or_hex(data: bytes) -> str:
    """Printable text without its padding, else the bytes in hexadecimal."""
    text = data.rstrip(b"\x00\xff ").lstrip(b"\x00 ")
    if text and all(0x20 <= byte <= 0x7E for byte in text):
        return text.decode("ascii")
    return to_hex(data)
