"""The part of a module's picture that standard OBD gives: vehicle information, codes, readiness, freeze frame.

Source: SAE J1979 / ISO 15031-5, services 01, 02, 03, 07, 09, 0A (recalled).
"""

from __future__ import annotations

import msgspec

from asleft.codec.answer import AnswerMalformed
from asleft.codec.obd import bitmaps, codes, current, vehicle_info
from asleft.codec.obd.parameters import SIGNALS
from asleft.codec.obd.readiness import Readiness, read_readiness
from asleft.codec.trouble_code import describe
from asleft.model.module import Item, ModuleAddress
from asleft.model.reading import Absence, AbsenceKind, to_hex
from asleft.model.trouble import CodeKind, TroubleCode
from asleft.ports.conversation import Conversation

from .reading_items import absence_of, ask_or_absence

_KINDS = (CodeKind.STORED, CodeKind.PENDING, CodeKind.PERMANENT)
#: Vehicle information of a picture: type, key, words.
INFO = (
    (vehicle_info.VIN, "vin", "VIN"),
    (vehicle_info.CALIBRATION_ID, "calibration-id", "calibration identification"),
    (vehicle_info.VERIFICATION_NUMBER, "calibration-verification", "calibration verification number"),
    (vehicle_info.MODULE_NAME, "module-name", "module name"),
)
_UNSUPPORTED = Absence(AbsenceKind.UNSUPPORTED)


class ObdPart(msgspec.Struct, frozen=True):
    """What standard OBD gave of one module.

    Attributes:
        identification: VIN, calibration identifications and verification numbers, name.
        codes: stored, pending, permanent.
        codes_absence: why a kind could not be read.
        notes: readiness and freeze frame, keys beginning with the module's name.
    """

    identification: tuple[Item, ...] = ()
    codes: tuple[TroubleCode, ...] = ()
    codes_absence: Absence | None = None
    notes: tuple[Item, ...] = ()


async def read_obd_part(talk: Conversation, address: ModuleAddress) -> ObdPart:
    """Read it all; what is not there is an absence."""
    identification = await _vehicle_info(talk, address)
    found: list[TroubleCode] = []
    missing: Absence | None = None
    for kind in _KINDS:
        told = await _codes(talk, address, kind)
        if not isinstance(told, Absence):
            found += told
        elif kind is CodeKind.STORED or told.kind is AbsenceKind.REFUSED:
            missing = told
    notes = (*await _readiness(talk, address), *await _freeze_frame(talk, address))
    return ObdPart(identification, tuple(found), missing, notes)


async def _vehicle_info(talk: Conversation, address: ModuleAddress) -> tuple[Item, ...]:
    answer = await ask_or_absence(talk, address, vehicle_info.info_request(0x00))
    there = _INFO_UNKNOWN if isinstance(answer, Absence) else _supported(answer)
    return tuple([await _info_item(talk, address, *row, there=there) for row in INFO])


_INFO_UNKNOWN: frozenset[int] = frozenset()


def _supported(answer: bytes) -> frozenset[int]:
    try:
        return vehicle_info.read_info(answer, 0x00).supported
    except AnswerMalformed:
        return _INFO_UNKNOWN


async def _info_item(
    talk: Conversation, address: ModuleAddress, infotype: int, key: str, name: str, *, there: frozenset[int]
) -> Item:
    if infotype not in there:
        return Item(key, name, absence=_UNSUPPORTED)
    answer = await ask_or_absence(talk, address, vehicle_info.info_request(infotype))
    if isinstance(answer, Absence):
        return Item(key, name, absence=answer)
    try:
        info = vehicle_info.read_info(answer, infotype)
    except AnswerMalformed as error:
        return Item(key, name, raw=to_hex(answer), absence=absence_of(error))
    return Item(key, name, ", ".join(info.texts), to_hex(info.raw))


async def _codes(talk: Conversation, address: ModuleAddress, kind: CodeKind) -> tuple[TroubleCode, ...] | Absence:
    answer = await ask_or_absence(talk, address, codes.codes_request(kind))
    if isinstance(answer, Absence):
        return answer
    try:
        texts = codes.read_codes(answer, kind)
    except AnswerMalformed as error:
        return absence_of(error)
    return tuple(TroubleCode(text, address.name, kind, text=describe(text).text) for text in texts)


async def _readiness(talk: Conversation, address: ModuleAddress) -> tuple[Item, ...]:
    answer = await ask_or_absence(talk, address, current.current_request([0x01]))
    head = address.name
    if isinstance(answer, Absence):
        return (Item(f"{head}.readiness", f"{head}: readiness", absence=answer),)
    try:
        data = current.split_current(answer, [0x01]).get(0x01, b"")
        state = read_readiness(data)
    except AnswerMalformed as error:
        return (Item(f"{head}.readiness", f"{head}: readiness", raw=to_hex(answer), absence=absence_of(error)),)
    return _readiness_items(head, state, to_hex(data))


def _readiness_items(head: str, state: Readiness, raw: str) -> tuple[Item, ...]:
    lamp = Item(f"{head}.lamp", f"{head}: malfunction lamp", "on" if state.lamp else "off", raw)
    count = Item(f"{head}.code-count", f"{head}: stored codes by readiness", str(state.codes), raw)
    monitors = (
        Item(
            f"{head}.readiness.{kind.value}",
            f"{head}: monitor {kind.value.replace('-', ' ')}",
            "complete" if done else "incomplete",
            raw,
        )
        for kind, done in state.complete.items()
    )
    return (lamp, count, *monitors)


async def _freeze_frame(talk: Conversation, address: ModuleAddress) -> tuple[Item, ...]:
    """The code that stored a freeze frame, and the values in it."""
    head = f"{address.name}.freeze-frame"
    code = await _frozen(talk, address, 0x02)
    if isinstance(code, Absence):
        return (Item(head, f"{address.name}: freeze frame", absence=code),)
    try:
        text = codes.freeze_code(code)
    except AnswerMalformed as error:
        return (Item(head, f"{address.name}: freeze frame", raw=to_hex(code), absence=absence_of(error)),)
    if text is None:
        return (Item(head, f"{address.name}: freeze frame", "none stored", to_hex(code)),)
    items = [Item(head, f"{address.name}: freeze frame of", text, to_hex(code))]
    for pid in sorted(await _frozen_pids(talk, address)):
        items += await _frozen_values(talk, address, pid)
    return tuple(items)


async def _frozen_pids(talk: Conversation, address: ModuleAddress) -> frozenset[int]:
    found: frozenset[int] = frozenset()
    base: int | None = 0x00
    while base is not None:
        data = await _frozen(talk, address, base)
        if isinstance(data, Absence):
            break
        try:
            more = bitmaps.supported(base, data)
        except AnswerMalformed:
            break
        found |= more
        base = bitmaps.next_bitmap(base, more)
    return found - {0x02} - set(bitmaps.BITMAP_IDS)


async def _frozen_values(talk: Conversation, address: ModuleAddress, pid: int) -> list[Item]:
    data = await _frozen(talk, address, pid)
    head = f"{address.name}.freeze-frame"
    if isinstance(data, Absence):
        return [Item(f"{head}.{pid:02X}", f"{address.name}: frozen {pid:02X}", absence=data)]
    try:
        values = current.read_parameter(pid, data)
    except AnswerMalformed as error:
        return [Item(f"{head}.{pid:02X}", f"{address.name}: frozen {pid:02X}", absence=absence_of(error))]
    raw = to_hex(data)
    return [
        Item(
            f"{head}.{v.signal}",
            f"{address.name}: frozen {SIGNALS[v.signal].name}",
            v.word or f"{v.value:.6g}",
            raw,
            "" if v.word or v.unit == "1" else v.unit,
        )
        for v in values
        if v.value is not None
    ]


async def _frozen(talk: Conversation, address: ModuleAddress, pid: int) -> bytes | Absence:
    answer = await ask_or_absence(talk, address, current.freeze_request([pid]))
    if isinstance(answer, Absence):
        return answer
    try:
        return current.split_freeze(answer, [pid]).get(pid, b"")
    except AnswerMalformed as error:
        return absence_of(error)
