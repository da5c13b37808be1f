"""Looking for further modules by their addresses: optional, read-only, with consent, at a low load.

One *tester present* to each address, one at a time, a pause after each; whoever answers, positively or not, is there.
Only with the engine off and the car standing, measured: on some cars a request to a strange address may wake modules or
set communication codes, so a person agrees first, and the pictures before and after show what it did (common practice,
no source).

29 bit: 18DAxxF1 answered by 18DAF1xx (ISO 15765-2 normal fixed, recalled). 11 bit: no standard pairs requests and
answers outside OBD, so an answer is taken from any identifier that was quiet before and speaks now.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import msgspec

from asleft.codec.isotp.frames import Single, padded, parse
from asleft.model.errors import Code, RunError
from asleft.model.frame import CanFrame
from asleft.model.module import ModuleAddress
from asleft.ports.bus import Link
from asleft.ports.clock import Clock
from asleft.ports.signals import Signals

from .conversations import Conversations
from .load import BusLoad

#: 11-bit identifiers that are tried: those of diagnostics in practice (common practice, no source).
NARROW = range(0x600, 0x7F8)
#: 29-bit target addresses.
WIDE = tuple(number for number in range(0x100) if number != 0xF1)
_REQUEST = b"\x02\x3e\x00"
_TESTER = 0xF1
_OBD = range(0x7DF, 0x7E8)


class SweepSettings(msgspec.Struct, frozen=True):
    """How gently.

    Attributes:
        pause_s: from one request to the next, s.
        most_load: share of the bus time above which it waits.
        listen_s: what talks by itself is learned for so long first, s.
    """

    pause_s: float = 0.06
    most_load: float = 0.6
    listen_s: float = 1.0


_GENTLE = SweepSettings()


async def sweep(
    talk: Conversations,
    link: Link,
    clock: Clock,
    signals: Signals,
    agreed_by: str,
    *,
    narrow: Sequence[int] = NARROW,
    wide: Sequence[int] = WIDE,
    settings: SweepSettings = _GENTLE,
    on_progress: Callable[[int, int], None] | None = None,
) -> tuple[ModuleAddress, ...]:
    """Modules that answer at further addresses.

    Args:
        talk: its other requests wait meanwhile.
        link, clock: its link.
        signals: to see that the engine is off and the car stands.
        agreed_by: who agreed; empty: nobody, and nothing is sent.
        narrow, wide: 11-bit request identifiers and 29-bit target addresses to try.
        settings: pauses and load.
        on_progress: told how many of how many were tried.
    Raises: RunError (gate-closed): nobody agreed, or engine off and standing are not shown. LinkError.
    """
    if not agreed_by.strip():
        raise RunError(Code.GATE_CLOSED, "nobody agreed to the search for further modules")
    await _check_still(signals)
    searcher = _Searcher(link, clock, settings)
    async with talk.quiet():
        stop = link.listen(searcher.on_frame)
        try:
            await clock.sleep_until(clock.now() + settings.listen_s)
            return await searcher.run(narrow, wide, on_progress)
        finally:
            stop()


async def _check_still(signals: Signals) -> None:
    for reading in await signals.read(("engine-speed", "vehicle-speed")):
        if reading.value is None:
            raise RunError(Code.GATE_CLOSED, f"{reading.signal} cannot be read: engine off and standing are not shown")
        if reading.value > 0.0:
            raise RunError(Code.GATE_CLOSED, f"{reading.signal} is {reading.value:g} {reading.unit}, not 0")


class _Searcher:
    def __init__(self, link: Link, clock: Clock, settings: SweepSettings) -> None:
        self._link = link
        self._clock = clock
        self._settings = settings
        self._load = BusLoad(getattr(link, "bitrate", None) or 500_000)
        self._load.on_window = self._note_load
        self._share = 0.0
        self._known: set[tuple[int, bool]] = set()
        self._asked: ModuleAddress | None = None
        self._found: list[ModuleAddress] = []

    async def run(
        self, narrow: Sequence[int], wide: Sequence[int], on_progress: Callable[[int, int], None] | None
    ) -> tuple[ModuleAddress, ...]:
        targets = [(number, False) for number in narrow if number not in _OBD] + [(number, True) for number in wide]
        for count, (number, is_wide) in enumerate(targets, 1):
            if (self._request_id(number, is_wide), is_wide) not in self._known:
                await self._try(number, is_wide=is_wide)
            if on_progress is not None:
                on_progress(count, len(targets))
        return tuple(self._found)

    @staticmethod
    def _request_id(number: int, is_wide: bool) -> int:
        return 0x18DA0000 | number << 8 | _TESTER if is_wide else number

    async def _try(self, number: int, *, is_wide: bool) -> None:
        while self._share > self._settings.most_load:
            self._share = 0.0
            await self._clock.sleep_until(self._clock.now() + self._settings.pause_s)
        request_id = self._request_id(number, is_wide)
        self._asked = ModuleAddress(f"module {number:0{2 if is_wide else 3}X}", request_id, 0, is_wide)
        try:
            self._link.send(CanFrame(request_id, padded(_REQUEST, 0xCC), is_wide))
            await self._clock.sleep_until(self._clock.now() + self._settings.pause_s)
        finally:
            self._asked = None

    def on_frame(self, frame: CanFrame) -> None:
        """Traffic: learned while nothing is asked, an answer while something is."""
        self._load.add(frame, frame.time_s or self._clock.now())
        key = (frame.id, frame.extended)
        asked = self._asked
        if asked is None:
            self._known.add(key)
        elif key not in self._known and frame.extended == asked.extended and _is_answer(frame, asked):
            self._known.add(key)
            self._found.append(msgspec.structs.replace(asked, response_id=frame.id))

    def _note_load(self, share: float) -> None:
        self._share = share


def _is_answer(frame: CanFrame, asked: ModuleAddress) -> bool:
    """``7E 00`` or ``7F 3E xx`` in a single frame; on 29 bit also from the address that belongs to the request."""
    pdu = parse(frame.data)
    if not isinstance(pdu, Single) or not (pdu.payload[:2] == b"\x7e\x00" or pdu.payload[:2] == b"\x7f\x3e"):
        return False
    return not asked.extended or frame.id == 0x18DA0000 | _TESTER << 8 | asked.request_id >> 8 & 0xFF
