"""A picture of a car made of what was overheard: what nobody asked while it was heard is missing, and says so. Pure.

Use::

    told = OverheardPicture()
    told.add(exchange)           # for every exchange
    picture = told.picture(start_s, stop_s)
"""

from __future__ import annotations

import msgspec

from asleft.codec.answer import AnswerMalformed
from asleft.codec.obd import codes, vehicle_info
from asleft.codec.trouble_code import Status, describe
from asleft.codec.uds import read_codes
from asleft.model.effect import Effect
from asleft.model.module import Item, ModuleAddress, ModulePicture, Picture, PictureKind
from asleft.model.reading import Absence, AbsenceKind, Reading, to_hex
from asleft.model.trouble import CodeKind, TroubleCode

from .obd_picture import INFO
from .overheard_words import effect_heard
from .overhearing import HeardExchange
from .pictures import IDENTIFICATION
from .reading_items import item_from

#: Why something is missing that nobody asked for.
NOT_ASKED = Absence(AbsenceKind.NOT_READ, "nobody asked while this was heard")
_KINDS = {0x03: CodeKind.STORED, 0x07: CodeKind.PENDING, 0x0A: CodeKind.PERMANENT}
_MAPPED = {item.identifier: item for item in IDENTIFICATION}
_INFO = {infotype: (key, name) for infotype, key, name in INFO}


class _Told(msgspec.Struct):
    address: ModuleAddress
    items: dict[str, Item] = {}
    codes: dict[str, tuple[TroubleCode, ...]] = {}


class OverheardPicture:
    """Keeps of each module what it said last."""

    def __init__(self) -> None:
        self._modules: dict[tuple[int, int, bool, int, int], _Told] = {}

    def add(self, exchange: HeardExchange) -> None:
        """Take one exchange. An answer out of form adds nothing."""
        told = self._modules.setdefault(exchange.module.place, _Told(exchange.module))
        if not exchange.answer or exchange.refusal is not None:
            return
        try:
            self._take(told, exchange)
        except AnswerMalformed:
            return

    def picture(self, start_s: float, stop_s: float, readings: tuple[Reading, ...] = ()) -> Picture:
        """The picture as found; times in s on the clock."""
        modules = tuple(_module(told) for told in self._modules.values())
        return Picture(PictureKind.AS_FOUND, start_s, stop_s, modules, readings)

    def _take(self, told: _Told, exchange: HeardExchange) -> None:
        request, answer = exchange.request, exchange.answer
        if effect_heard(exchange) is Effect.CLEARS:
            told.codes.clear()  # what was heard before it is no longer so
        match request[0]:
            case 0x22 if len(request) == 3 and (mapped := _MAPPED.get(int.from_bytes(request[1:], "big"))):
                told.items[mapped.key] = item_from(mapped, answer[3:])
            case 0x09 if request[1] in _INFO:
                info = vehicle_info.read_info(answer, request[1])
                key, name = _INFO[request[1]]
                told.items[key] = Item(key, name, ", ".join(info.texts), to_hex(info.raw))
            case 0x03 | 0x07 | 0x0A:
                kind = _KINDS[request[0]]
                texts = codes.read_codes(answer, kind)
                told.codes[kind.value] = tuple(
                    TroubleCode(text, told.address.name, kind, text=describe(text).text) for text in texts
                )
            case 0x19 if request[1:2] == b"\x02":
                told.codes["uds"] = tuple(_code(told.address.name, c) for c in read_codes.read_list(answer).codes)
            case _:
                pass


def _code(module: str, code: read_codes.StatusCode) -> TroubleCode:
    kind = CodeKind.STORED if code.status & Status.CONFIRMED else CodeKind.PENDING
    return TroubleCode(code.code, module, kind, code.failure_type, code.status, describe(code.code).text)


def _module(told: _Told) -> ModulePicture:
    wanted = dict.fromkeys((*((i.key, i.name) for i in IDENTIFICATION), *_INFO.values()))
    items = tuple(told.items.get(key) or Item(key, name, absence=NOT_ASKED) for key, name in wanted)
    full = {code.code for code in told.codes.get("uds", ())}
    obd = [c for kind in _KINDS.values() for c in told.codes.get(kind.value, ())]
    merged = (*told.codes.get("uds", ()), *(c for c in obd if c.kind is CodeKind.PERMANENT or c.code not in full))
    return ModulePicture(told.address, True, items, codes=merged, codes_absence=None if told.codes else NOT_ASKED)
