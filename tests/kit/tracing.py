"""Numbers of a paper traced to the events that its lines name, with nothing of the report's own code.

A number stands when one of the line's events holds it, as a number or inside a text, to the digits that are printed.
What is computed from events is bound to a few rules, each a function here.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from datetime import datetime
from functools import cache
from typing import Any

import msgspec

from asleft.event.envelope import Event

_NUMBER = re.compile(r"(?P<less>< )?(?<![\w.,])(?P<number>\d+(?:[.,]\d+)?)(?![A-Za-z_\d])")
_INSIDE = re.compile(r"\d+(?:\.\d+)?(?:[eE][-+]?\d+)?")
_WALL = re.compile(r"(\d{4})-(\d\d)-(\d\d) (\d\d:\d\d:\d\d) UTC")
#: How many lines of a list the paper leaves to its details: the paper's own number.
_OURS = re.compile(r"and \d+ more: see the details|\d+ things are not given|SHA-256|^\d+\. ")
#: A refusal as its standard writes it, in hexadecimal; the record holds the number.
_NRC = re.compile(r"\bNRC ([0-9A-F]{2})\b")
_BYTES = re.compile(r"\b(?:[0-9A-F]{2} )+[0-9A-F]{2}\b|\b[0-9a-fA-F]{8,}\b")


def untraced(text: str, events: Sequence[Event]) -> list[str]:
    """Numbers of a line's text that none of its events bears out."""
    wrong = [m[0] for m in _WALL.finditer(text) if not _has_wall(m, events)]
    text = _OURS.sub("", _WALL.sub("", text))
    text = _NRC.sub(lambda m: f"NRC {int(m[1], 16)}", text)
    text = _BYTES.sub(lambda m: "" if _has_bytes(m[0], events) else m[0], text)
    known = frozenset[float]().union(*(_held(msgspec.json.encode(e)) for e in events)) if events else frozenset()
    known |= frozenset(_derived(events))
    return [*wrong, *(m[0] for m in _NUMBER.finditer(text) if not _stands(m, known))]


def _stands(found: re.Match[str], known: frozenset[float]) -> bool:
    printed = found["number"].replace(",", ".")
    value, decimals = float(printed), len(printed.partition(".")[2])
    if found["less"]:
        return any(k < value for k in known)
    half = 0.5 * 10.0**-decimals * (1.0 + 1e-9) + 1e-12
    return any(abs(k - value) <= half or abs(k - value) <= 0.005 * value <= half for k in known)


@cache
def _held(stored: bytes) -> frozenset[float]:
    """Every number of an event, without its sign."""
    return frozenset(abs(n) for n in _numbers(msgspec.json.decode(stored)))


def _numbers(value: Any) -> Iterator[float]:
    if isinstance(value, bool) or value is None:
        return
    if isinstance(value, int | float):
        yield float(value)
    elif isinstance(value, str):
        yield from (float(m) for m in _INSIDE.findall(value))
    elif isinstance(value, dict):
        for each in value.values():
            yield from _numbers(each)
    else:
        yield float(len(value))
        for each in value:
            yield from _numbers(each)


def _derived(events: Sequence[Event]) -> Iterator[float]:
    """How many events stand behind it; time between them; every U = 2 u; a risk in per cent of what was judged."""
    yield float(len(events))
    yield from (abs(a.monotonic_s - b.monotonic_s) for a in events for b in events[:1])
    for event in events:
        yield from (2.0 * u for u in _named("u", msgspec.json.decode(msgspec.json.encode(event))))
        yield from (100.0 * r for r in _named("risk", msgspec.json.decode(msgspec.json.encode(event))))


def _named(name: str, value: Any) -> Iterator[float]:
    """Every number with this name in a decoded JSON value."""
    if isinstance(value, dict):
        if isinstance(value.get(name), int | float):
            yield float(value[name])
        for each in value.values():
            yield from _named(name, each)
    elif isinstance(value, list):
        for each in value:
            yield from _named(name, each)


def _has_wall(found: re.Match[str], events: Sequence[Event]) -> bool:
    said = datetime.fromisoformat(f"{found[1]}-{found[2]}-{found[3]}T{found[4]}+00:00")
    return any(datetime.fromisoformat(e.wall).replace(microsecond=0) == said for e in events)


def _has_bytes(printed: str, events: Sequence[Event]) -> bool:
    plain = printed.replace(" ", "").casefold()
    held = (msgspec.json.encode(e).decode().casefold() for e in events)
    return any(plain in text or plain in text.replace(" ", "") for text in held)
