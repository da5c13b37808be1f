"""What trouble codes say about missing functions: by failure type, and by codes that name the missing learn. Pure.

Source: failure-type values by SAE J2012-DA / ISO 15031-6 (recalled); what each is taken for is common practice.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

import msgspec

from asleft.model.message import Message, say
from asleft.model.trouble import TroubleCode
from asleft.model.work import Grade


class Finding(msgspec.Struct, frozen=True):
    """A function that a code calls for, or a note that none may be done yet (``function`` empty)."""

    function: str
    grade: Grade
    reason: Message
    code: TroubleCode


#: Codes that name the missing function itself (texts recalled) -> function, grade.
CODES: dict[str, tuple[str, Grade]] = {
    "P2176": ("throttle-stop-learn", Grade.REQUIRED),
    "P0638": ("throttle-stop-learn", Grade.ADVISABLE),
    "P2119": ("throttle-stop-learn", Grade.ADVISABLE),
    "P0505": ("idle-relearn", Grade.ADVISABLE),
    "P0506": ("idle-relearn", Grade.ADVISABLE),
    "P0507": ("idle-relearn", Grade.ADVISABLE),
    "P0315": ("crank-tooth-learn", Grade.REQUIRED),
    "P0602": ("programming-prereq", Grade.REQUIRED),
    "P0630": ("module-coding", Grade.REQUIRED),
    "P0633": ("immobiliser-key", Grade.REQUIRED),
    "P0513": ("immobiliser-key", Grade.ADVISABLE),
}

#: Failure type -> function (empty: it depends on the module), what it means.
FAILURE_TYPES: dict[int, tuple[str, Grade, str]] = {
    0x51: ("programming-prereq", Grade.REQUIRED, "not programmed"),
    0x52: ("", Grade.REQUIRED, "not activated: its activation is outstanding"),
    0x53: ("", Grade.ADVISABLE, "deactivated: ask why before switching it on"),
    0x54: ("", Grade.REQUIRED, "missing calibration: a zero or learn is outstanding"),
    0x55: ("module-coding", Grade.REQUIRED, "not configured"),
    0x56: ("module-coding", Grade.REQUIRED, "invalid configuration: wrong coding or wrong part"),
    0x57: ("programming-prereq", Grade.REQUIRED, "invalid software component"),
    0x4A: ("", Grade.REQUIRED, "wrong part: learn nothing over it"),
    0x76: ("", Grade.REQUIRED, "wrong mounting position: mechanical work first"),
    0x78: ("", Grade.REQUIRED, "alignment incorrect: mechanical work first"),
    0x81: ("", Grade.REQUIRED, "invalid data received: communication first"),
    0x87: ("", Grade.REQUIRED, "missing message: communication first"),
    0x88: ("", Grade.REQUIRED, "bus off: communication first"),
    0x16: ("", Grade.REQUIRED, "voltage below threshold: wiring or supply first"),
    0x17: ("", Grade.REQUIRED, "voltage above threshold: wiring or supply first"),
}

#: Missing calibration: module name -> function. Several functions of one module are told apart by the code's own text.
MISSING_IN: dict[str, tuple[str, ...]] = {
    "camera": ("camera-aim-static", "camera-aim-dynamic"),
    "radar": ("radar-aim",),
    "steering": ("eps-torque-zero",),
    "suspension": ("ride-height-cal",),
    "headlamp": ("headlamp-level",),
    "parking": ("park-sensor",),
    "surround-camera": ("surround-camera",),
    "brakes": ("sas-zero", "yaw-accel-zero"),
    "climate": ("hvac-flap",),
}


def findings(codes: Iterable[TroubleCode]) -> tuple[Finding, ...]:
    """What codes call for, in their order; a code that names nothing gives nothing.

    A code read twice from one module, once without a failure type and once with 00 (no more said), counts once.
    """
    once: dict[tuple[str, str, int], TroubleCode] = {}
    for code in codes:
        once.setdefault((code.module, code.code, code.failure_type or 0), code)
    return tuple(finding for code in once.values() for finding in _of(code))


def _of(code: TroubleCode) -> Iterator[Finding]:
    named = CODES.get(code.code)
    if named is not None:
        reason = say(
            "need.code",
            "{code} is stored in {module}: {text}",
            code=code.full,
            module=code.module,
            text=code.text or "it names the missing function",
        )
        yield Finding(named[0], named[1], reason, code)
    typed = FAILURE_TYPES.get(code.failure_type) if code.failure_type is not None else None
    if typed is None or (named is not None and code.failure_type == 0x54):
        return
    function, grade, meaning = typed
    reason = say(
        "need.failure-type",
        "{code} in {module} ends in {type}: {meaning}",
        code=code.full,
        module=code.module,
        type=f"{code.failure_type:02X}",
        meaning=meaning,
    )
    for each in (function,) if function else MISSING_IN.get(code.module, ("",)) if code.failure_type == 0x54 else ("",):
        yield Finding(each, grade, reason, code)
