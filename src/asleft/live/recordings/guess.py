"""Proposing a column map for a header: by words, never silently. What is not sure is asked."""

from __future__ import annotations

import re
from typing import NamedTuple

from asleft.live.catalogue import NAMED
from asleft.model.message import Message
from asleft.model.units import UNITS

from .column_map import Column, ColumnMap, TimeColumn, TimeForm

_WORDS: dict[str, frozenset[str]] = {
    signal: frozenset(words.split())
    for signal, words in {
        "engine-speed": "engine speed",
        "vehicle-speed": "vehicle speed",
        "coolant-temperature": "coolant temperature",
        "intake-air-temperature": "intake air temperature",
        "ambient-temperature": "ambient temperature",
        "engine-oil-temperature": "oil temperature",
        "engine-load": "engine load",
        "absolute-load": "absolute load",
        "throttle-absolute": "throttle",
        "throttle-absolute-b": "throttle b",
        "throttle-commanded": "throttle commanded",
        "relative-throttle": "throttle relative",
        "accelerator-pedal-d": "pedal d",
        "accelerator-pedal-e": "pedal e",
        "manifold-pressure": "manifold pressure",
        "barometric-pressure": "barometric pressure",
        "mass-air-flow": "mass air flow",
        "control-module-voltage": "voltage",
        "run-time": "run time",
        "short-term-trim-1": "short trim",
        "long-term-trim-1": "long trim",
        "timing-advance": "timing",
        "fuel-level": "fuel level",
        "purge-commanded": "purge",
        "fuel-rate": "fuel rate",
        "lambda-commanded": "lambda commanded",
    }.items()
}

_SAME: dict[str, str] = {
    "rpm": "engine speed", "temp": "temperature", "ect": "coolant temperature", "iat": "intake air temperature",
    "map": "manifold pressure", "maf": "mass air flow", "tps": "throttle", "baro": "barometric pressure",
    "stft": "short trim", "ltft": "long trim", "trims": "trim", "accelerator": "pedal", "tank": "level fuel",
    "ignition": "timing", "spark": "timing", "evap": "purge", "evaporative": "purge", "volt": "voltage",
    "volts": "voltage", "battery": "voltage", "supply": "voltage", "outside": "ambient", "equivalence": "lambda",
}  # fmt: skip

_UNITS = {"deg c": "°C", "degc": "°C", "c": "°C", "deg f": "°F", "f": "°F", "rpm": "rpm", "1/min": "rpm", "kph": "km/h",
          "km/h": "km/h", "mph": "mph", "kpa": "kPa", "percent": "%", "volt": "V", "v": "V", "g/s": "g/s",
          "deg": "°", "l/h": "L/h"}  # fmt: skip

_TIME_WORDS = frozenset({"time", "timestamp", "elapsed", "seconds"})


class Proposal(NamedTuple):
    """A map to look at before it is used.

    Attributes:
        column_map: what was recognised.
        questions: what is not sure, each with what to write in the map.
    """

    column_map: ColumnMap
    questions: tuple[Message, ...]


def guess_map(header: list[str], first_row: list[str] | None = None) -> Proposal:
    """Propose a map for a header by its words.

    Args: first_row: cells below it, to see how time is written.
    Returns: a proposal; columns it does not recognise and units it assumes come back as questions.
    """
    names = [name.strip() for name in header]
    cells = [*(first_row or []), *[""] * len(names)]
    questions: list[Message] = []
    place = next((i for i, name in enumerate(names) if _is_time(name)), None)
    if place is None:
        questions.append(_ask("time", "Which column is time? Write `time: {column: …}`.", {}))
    time = TimeColumn(names[place], _time_form(names[place], cells[place])) if place is not None else TimeColumn()
    columns: dict[str, Column] = {}
    ignore: list[str] = []
    for i, name in enumerate(names):
        if not name or i == place:
            continue
        signal = _signal(name)
        if signal is None or signal in columns:
            ignore.append(name)
            questions.append(_ask("unknown", "What is {column}? It is left out until the map says.", {"column": name}))
            continue
        unit = _unit(name, signal)
        if unit is None:
            unit = NAMED[signal].unit
            text = "Is {column} in {unit}? Its header gives no unit."
            questions.append(_ask("unit", text, {"column": name, "unit": unit}))
        columns[signal] = Column(name, signal, unit)
    proposal = ColumnMap("proposed by its header", time, tuple(columns.values()), tuple(ignore))
    return Proposal(proposal, tuple(questions))


def _ask(name: str, text: str, values: dict[str, str]) -> Message:
    return Message(f"recording.ask.{name}", text, values)


def _bare(name: str) -> str:
    return re.sub(r"[\[(].*?[\])]", " ", name)


def _words(name: str) -> set[str]:
    parts = re.findall(r"[a-z0-9]+", _bare(name).lower())
    return {word for part in parts for word in _SAME.get(str(part), str(part)).split()}


def _is_time(name: str) -> bool:
    words = _words(name)
    return bool(words & _TIME_WORDS) and not words & {"clear", "cleared", "lamp", "mil", "since"}


def _time_form(name: str, cell: str) -> TimeForm:
    if re.search(r"\d-\d", cell):
        return TimeForm.DATE_TIME
    if ":" in cell:
        return TimeForm.CLOCK
    return TimeForm.MILLISECONDS if re.search(r"\bms\b|milli", name.lower()) else TimeForm.SECONDS


def _signal(name: str) -> str | None:
    bare = _bare(name).strip()
    if bare in NAMED:
        return bare
    words = _words(name)
    best = [signal for signal, wanted in _WORDS.items() if wanted <= words]
    longest = max((len(_WORDS[signal]) for signal in best), default=0)
    best = [signal for signal in best if len(_WORDS[signal]) == longest]
    return best[0] if len(best) == 1 else None


def _unit(name: str, signal: str) -> str | None:
    """The unit in the header's brackets, when it is one of the signal's quantity."""
    for bracket in re.findall(r"[\[(](.*?)[\])]", name):
        text = str(bracket).strip()
        unit = text if text in UNITS else _UNITS.get(text.lower())
        if unit and UNITS[unit].quantity == UNITS[NAMED[signal].unit].quantity:
            return unit
    return None
