"""What the pictures say about missing functions: blank coding, another module, low supply, learned values at a limit.

Source: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from asleft.model.message import Message, say
from asleft.model.module import ModulePicture, Picture, PictureKind
from asleft.model.work import Grade

#: Below this, engine off, the battery is supported or charged before anything is written, V.
LOW_SUPPLY_V = 12.4
_CHANGES = (
    (("part-number", "serial-number", "hardware-number"), Grade.REQUIRED, "another module"),
    (("software-number", "calibration-id"), Grade.ADVISABLE, "other software"),
)

_LEAN = "an air leak, low fuel pressure, a soiled air-mass sensor"
_RICH = "a leaking injector, high fuel pressure, purge that stays open"
#: Learned values: signal -> limit (our own estimate), function that learns it anew, causes at the high and low end.
LEARNED_LIMITS: dict[str, tuple[float, str, str, str]] = {
    "long-term-trim-1": (20.0, "fuel-trim-reset", _LEAN, _RICH),
    "long-term-trim-2": (20.0, "fuel-trim-reset", _LEAN, _RICH),
}

#: Function, grade, reason; without a function the reason is a thing to see to first.
Told = tuple[str, Grade, Message]


def from_pictures(pictures: Sequence[Picture]) -> tuple[Told, ...]:
    """What the pictures taken so far call for, in the order of the modules."""
    taken = {p.kind: p for p in pictures if not p.not_taken}
    received, found = taken.get(PictureKind.AS_RECEIVED), taken.get(PictureKind.AS_FOUND)
    latest = found or received
    told: list[Told] = []
    if latest is not None:
        for module in latest.modules:
            told.extend(_blank(module))
        told.extend(_supply(latest))
        told.extend(_at_limit(latest))
    if received is not None and found is not None:
        for module in found.modules:
            told.extend(_another(received.module(module.address.name), module))
    return tuple(told)


def _blank(module: ModulePicture) -> Iterator[Told]:
    """A coding of nothing but 00 or FF was never written."""
    for item in module.coding:
        raw = bytes.fromhex(item.raw)
        if item.absence is None and raw and (not any(raw) or set(raw) == {0xFF}):
            shown = raw.hex(" ").upper()
            told = "{module}: {what} is blank ({raw})"
            reason = say("need.blank-coding", told, module=module.address.name, what=item.name, raw=shown)
            yield "module-coding", Grade.REQUIRED, reason


def _another(before: ModulePicture | None, now: ModulePicture) -> Iterator[Told]:
    """Another part or serial number means another module; another software number, new software."""
    if before is None or not (before.responded and now.responded):
        return
    for keys, grade, what in _CHANGES:
        changed = ((key, before.value(key), now.value(key)) for key in keys)
        found = next(((key, old, new) for key, old, new in changed if old and new and old != new), None)
        if found is not None:
            key, old, new = found
            told = "{module}: {what} than as received ({key} {old}, now {new})"
            name = now.address.name
            reason = say("need.changed", told, module=name, what=what, key=key.replace("-", " "), old=old, new=new)
            yield "module-coding", grade, reason


def _at_limit(picture: Picture) -> Iterator[Told]:
    """A learned value at its limit has something to make up for; learned anew, it comes back there."""
    for reading in picture.readings:
        limit = LEARNED_LIMITS.get(reading.signal)
        if limit is None or reading.value is None or abs(reading.value) < limit[0]:
            continue
        high, low = limit[2:]
        shown = f"{reading.value:+.0f} {reading.unit}"
        told = "{signal} {value} stands at its limit: look first for {causes}; what is learned over it comes back"
        signal = reading.signal.replace("-", " ")
        causes = high if reading.value > 0 else low
        yield "", Grade.REQUIRED, say("need.at-limit", told, signal=signal, value=shown, causes=causes)
        then = "{signal} {value}: learned anew once its cause is repaired"
        yield limit[1], Grade.ADVISABLE, say("need.at-limit.then", then, signal=signal, value=shown)


def _supply(picture: Picture) -> Iterator[Told]:
    running = any(r.signal == "engine-speed" and r.value for r in picture.readings)
    for reading in picture.readings:
        low = reading.value is not None and reading.value < LOW_SUPPLY_V
        if reading.signal == "control-module-voltage" and low and not running:
            told = "supply {volts} V with the engine off: support or charge the battery before anything is written"
            yield "", Grade.REQUIRED, say("need.low-supply", told, volts=f"{reading.value:.1f}")
