"""OBD services 01 02 03 04 06 07 09 0A of an emission-related bench module (SAE J1979 / ISO 15031-5).

Values come from callables in physical units; `obd_scaling` turns them into bytes, support bitmaps are made here::

    Obd(
        values={0x05: lambda: coolant.celsius, 0x0C: lambda: engine.rpm, 0x11: lambda: throttle.percent},
        raw={0x1C: lambda: b"\\x06"},
        monitors=(Monitor("catalyst", lambda: catalyst.tested),),
        vin="...", calibration_ids=("...",), verification_numbers=(0x1791BC82,), ecu_name="ECM-EngineControl",
    )
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

from .obd_scaling import encoder, support_bitmap
from .service import Conversation, Refuse
from .trouble_memory import CONFIRMED, PENDING, TroubleCode, TroubleMemory

#: Monitor name -> (byte, bit) of its support bit in PID 01; its incomplete bit is (B, bit + 4) or (D, bit).
_MONITOR_BITS = {
    "misfire": ("B", 0),
    "fuel": ("B", 1),
    "components": ("B", 2),
    "catalyst": ("C", 0),
    "heated catalyst": ("C", 1),
    "evaporative": ("C", 2),
    "secondary air": ("C", 3),
    "air conditioning": ("C", 4),
    "oxygen sensor": ("C", 5),
    "oxygen sensor heater": ("C", 6),
    "exhaust gas recirculation": ("C", 7),
}


@dataclass(frozen=True)
class Monitor:
    """One readiness monitor of PID 01.

    Attributes:
        name: misfire, fuel, components, catalyst, heated catalyst, evaporative, secondary air, air conditioning,
            oxygen sensor, oxygen sensor heater, exhaust gas recirculation (spark ignition set).
        complete: whether it has finished since the codes were cleared.
        on_clear: called when codes are cleared, to make it incomplete.
    """

    name: str
    complete: Callable[[], bool] = lambda: True
    on_clear: Callable[[], None] = lambda: None


@dataclass(frozen=True)
class MonitorTest:
    """One result of service 06: monitor and test identifier, unit-and-scaling identifier, raw value and limits."""

    mid: int
    tid: int
    scaling: int
    value: Callable[[], int]
    low: int
    high: int


@dataclass(frozen=True)
class Obd:
    """What the emission-related module answers.

    Attributes:
        values: PID -> value in the unit of `obd_scaling` (°C, 1/min, km/h, kPa, g/s, %, V, s ...).
        raw: PID -> bytes, for PIDs without one value (03, 13, 1C, 51 ...) or where ``values`` do not fit.
        monitors: readiness monitors supported; PIDs 01 and 41 are made from them.
        tests: results of service 06.
        freeze_pids: PIDs stored in the freeze frame of service 02.
        vin, calibration_ids, verification_numbers, ecu_name: service 09.
        compression_ignition: PID 01 B bit 3.
        can_clear: None when service 04 may clear, else the negative response code (22).
        on_clear: called after 04 or 14 cleared.
    """

    values: Mapping[int, Callable[[], float]] = field(default_factory=dict[int, Callable[[], float]])
    raw: Mapping[int, Callable[[], bytes]] = field(default_factory=dict[int, Callable[[], bytes]])
    monitors: tuple[Monitor, ...] = ()
    tests: tuple[MonitorTest, ...] = ()
    freeze_pids: tuple[int, ...] = (0x04, 0x05, 0x06, 0x07, 0x0B, 0x0C, 0x0D)
    vin: str = ""
    calibration_ids: tuple[str, ...] = ()
    verification_numbers: tuple[int, ...] = ()
    ecu_name: str = ""
    compression_ignition: bool = False
    can_clear: Callable[[], int | None] = lambda: None
    on_clear: Callable[[], None] = lambda: None


class ObdService:
    """Services 01 02 03 04 06 07 09 0A over an `Obd` and the module's trouble memory."""

    sids = (0x01, 0x02, 0x03, 0x04, 0x06, 0x07, 0x09, 0x0A)

    def __init__(self, obd: Obd, codes: TroubleMemory) -> None:
        self._obd = obd
        self._codes = codes
        self._pids: dict[int, Callable[[], bytes]] = dict(obd.raw)
        for pid, value in obd.values.items():
            self._pids[pid] = _encoded(pid, value)
        for monitor in obd.monitors:
            if monitor.name not in _MONITOR_BITS:
                raise ValueError(f"no monitor {monitor.name!r}; there are {', '.join(_MONITOR_BITS)}")
        self._pids.setdefault(0x01, lambda: self._readiness(since_clear=True))
        if obd.monitors:
            self._pids.setdefault(0x41, lambda: self._readiness(since_clear=False))
        self.freeze: dict[int, bytes] = {}
        self._answers: dict[int, Callable[[bytes], bytes]] = {
            0x01: self._current,
            0x02: self._frozen,
            0x03: lambda data: self._code_list(data, CONFIRMED),
            0x04: self._clear,
            0x06: self._tests,
            0x07: lambda data: self._code_list(data, PENDING),
            0x09: self._information,
            0x0A: self._permanent,
        }

    def handle(self, request: bytes, talk: Conversation) -> bytes | None:
        """Answer one of them; what is not supported stays unanswered when asked functionally (else 12)."""
        content = self._answers[request[0]](request[1:])
        if content or request[0] in {0x03, 0x04, 0x07, 0x0A}:
            return bytes([request[0] + 0x40]) + content
        if talk.functional:
            return None
        raise Refuse(0x12)

    def failed(self, code: TroubleCode) -> None:
        """An emission-related test failed: keep the first freeze frame."""
        if code.emission and not self.freeze:
            kept = {pid: self._pids[pid]() for pid in self._obd.freeze_pids if pid in self._pids}
            self.freeze = {0x02: (code.code >> 8).to_bytes(2, "big"), **kept}

    def cleared(self) -> None:
        """Codes were cleared: freeze frame and readiness go with them."""
        self.freeze = {}
        for monitor in self._obd.monitors:
            monitor.on_clear()
        self._obd.on_clear()

    def _current(self, data: bytes) -> bytes:
        if not 1 <= len(data) <= 6:
            raise Refuse(0x12)
        answer = bytearray()
        for pid in data:
            if pid % 0x20 == 0:
                answer += _bitmap_part(set(self._pids), pid)
            elif pid in self._pids:
                answer += bytes([pid]) + self._pids[pid]()
        return bytes(answer)

    def _frozen(self, data: bytes) -> bytes:
        if not data or len(data) % 2 or len(data) > 6:
            raise Refuse(0x12)
        answer = bytearray()
        for pid, frame in zip(data[::2], data[1::2], strict=True):
            if frame != 0:
                continue
            if pid % 0x20 == 0:
                known = {0x02, *(number for number in self._obd.freeze_pids if number in self._pids)}
                part = _bitmap_part(known, pid)
                answer += part[:1] + b"\x00" + part[1:] if part else b""
            elif pid == 0x02 or pid in self.freeze:
                answer += bytes([pid, 0]) + self.freeze.get(pid, b"\x00\x00")
        return bytes(answer)

    def _code_list(self, data: bytes, mask: int) -> bytes:
        return _codes(data, self._codes.emission(mask))

    def _permanent(self, data: bytes) -> bytes:
        return _codes(data, [item.code >> 8 for item, state in self._codes.codes() if state.permanent])

    def _clear(self, data: bytes) -> bytes:
        if data:
            raise Refuse(0x12)
        refusal = self._obd.can_clear()
        if refusal is not None:
            raise Refuse(refusal)
        self._codes.clear()
        return b""

    def _tests(self, data: bytes) -> bytes:
        if len(data) != 1:
            raise Refuse(0x12)
        if data[0] % 0x20 == 0:
            return _bitmap_part({test.mid for test in self._obd.tests}, data[0])
        answer = bytearray()
        for test in self._obd.tests:
            if test.mid == data[0]:
                numbers = b"".join(number.to_bytes(2, "big") for number in (test.value(), test.low, test.high))
                answer += bytes([test.mid, test.tid, test.scaling]) + numbers
        return bytes(answer)

    def _information(self, data: bytes) -> bytes:
        if len(data) != 1:
            raise Refuse(0x12)
        obd = self._obd
        items: dict[int, list[bytes]] = {
            0x02: [obd.vin.encode("ascii")] if obd.vin else [],
            0x04: [text.encode("ascii").ljust(16, b"\x00") for text in obd.calibration_ids],
            0x06: [number.to_bytes(4, "big") for number in obd.verification_numbers],
            0x0A: [_module_name(obd.ecu_name)] if obd.ecu_name else [],
        }
        known = {number for number, content in items.items() if content}
        if data[0] % 0x20 == 0:
            return _bitmap_part(known, data[0])
        content = items.get(data[0], [])
        return bytes([data[0], len(content)]) + b"".join(content) if content else b""

    def _readiness(self, *, since_clear: bool) -> bytes:
        emission = self._codes.emission(CONFIRMED)
        support = {"B": 0x08 if self._obd.compression_ignition else 0, "C": 0}
        incomplete = 0
        for monitor in self._obd.monitors:
            byte, bit = _MONITOR_BITS[monitor.name]
            support[byte] |= 1 << bit
            if not monitor.complete():
                if byte == "B":
                    support["B"] |= 1 << (bit + 4)
                else:
                    incomplete |= 1 << bit
        first = min(len(emission), 127) | (0x80 if self._codes.lamp() else 0) if since_clear else 0
        return bytes([first, support["B"], support["C"], incomplete])


def _encoded(pid: int, value: Callable[[], float]) -> Callable[[], bytes]:
    encode = encoder(pid)
    return lambda: encode(value())


def _bitmap_part(known: set[int], first: int) -> bytes:
    """Number and bitmap, or nothing when neither it nor a later one has a bit."""
    if first and not any(number > first for number in known):
        return b""
    return bytes([first]) + support_bitmap(known, first)


def _codes(data: bytes, codes: list[int]) -> bytes:
    if data:
        raise Refuse(0x12)
    return bytes([len(codes)]) + b"".join(code.to_bytes(2, "big") for code in codes)


def _module_name(name: str) -> bytes:
    """20 bytes: four of the acronym, a dash, fifteen of the name."""
    acronym, _, long_name = name.partition("-")
    return acronym.encode("ascii")[:4].ljust(4, b"\x00") + b"-" + long_name.encode("ascii")[:15].ljust(15, b"\x00")
