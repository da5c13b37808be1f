"""Short phrases of a quick procedure to conditions and criteria: a closed grammar; what does not fit stays words.

    coolant 80-100 degC        supply at least 12.4 V        engine off        idle 750 +/- 50 rpm

A phrase that names no known signal becomes a declared condition, word for word. Nothing is guessed: a number with a
unit of another quantity is refused by the check that follows.
"""

from __future__ import annotations

import re

from asleft.model.condition import Condition, ConditionKind
from asleft.proof.criterion_data import Criterion, IdleMean, LimitData, TrimSum

#: Words at the beginning of a phrase -> signal. Longer ones first where one begins another.
SIGNAL_WORDS: dict[str, str] = {
    "coolant temperature": "coolant-temperature",
    "coolant": "coolant-temperature",
    "engine temperature": "coolant-temperature",
    "engine oil": "engine-oil-temperature",
    "oil temperature": "engine-oil-temperature",
    "intake air": "intake-air-temperature",
    "outside temperature": "ambient-temperature",
    "ambient": "ambient-temperature",
    "engine speed": "engine-speed",
    "idle speed": "engine-speed",
    "idle": "engine-speed",
    "rpm": "engine-speed",
    "road speed": "vehicle-speed",
    "vehicle speed": "vehicle-speed",
    "speed": "vehicle-speed",
    "battery voltage": "control-module-voltage",
    "battery": "control-module-voltage",
    "supply": "control-module-voltage",
    "voltage": "control-module-voltage",
    "fuel level": "fuel-level",
    "fuel": "fuel-level",
    "throttle": "throttle-absolute",
    "run time": "run-time",
}
UNIT_WORDS: dict[str, str] = {
    "degc": "°C",
    "c": "°C",
    "°c": "°C",
    "degf": "°F",
    "f": "°F",
    "°f": "°F",
    "v": "V",
    "volts": "V",
    "rpm": "rpm",
    "1/min": "rpm",
    "%": "%",
    "percent": "%",
    "km/h": "km/h",
    "mph": "mph",
    "kpa": "kPa",
    "bar": "bar",
    "psi": "psi",
    "s": "s",
    "min": "min",
}
_WHOLE: dict[str, tuple[ConditionKind, str, float, str]] = {
    "engine off": (ConditionKind.AT_MOST, "engine-speed", 0.0, "rpm"),
    "key on, engine off": (ConditionKind.AT_MOST, "engine-speed", 0.0, "rpm"),
    "koeo": (ConditionKind.AT_MOST, "engine-speed", 0.0, "rpm"),
    "engine running": (ConditionKind.AT_LEAST, "engine-speed", 400.0, "rpm"),
    "koer": (ConditionKind.AT_LEAST, "engine-speed", 400.0, "rpm"),
    "car standing": (ConditionKind.AT_MOST, "vehicle-speed", 0.0, "km/h"),
    "speed 0": (ConditionKind.AT_MOST, "vehicle-speed", 0.0, "km/h"),
}
_Limits = tuple[float | None, float | None, str]
_N = r"(-?\d+(?:\.\d+)?)"
_UNIT = r"\s*(\S+)?"
_RANGE = re.compile(rf"{_N}\s*(?:-|–|to|\.\.)\s*{_N}{_UNIT}")
_AROUND = re.compile(rf"{_N}\s*(?:\+/-|±)\s*{_N}{_UNIT}")
_LEAST = re.compile(rf"(?:at least|above|over|min(?:imum)?|>=|≥|>)\s*{_N}{_UNIT}")
_MOST = re.compile(rf"(?:at most|below|under|max(?:imum)?|<=|≤|<)\s*{_N}{_UNIT}")


def condition_from(phrase: str, number: int, source: str) -> Condition:
    """One phrase as an entry condition; declared where it names no signal or no limit.

    Args: number: its place, for the id. source: page.
    """
    text = " ".join(phrase.split())
    name = f"entry-{number}"
    whole = _WHOLE.get(text.casefold())
    if whole is not None:
        kind, signal, limit, unit = whole
        low, high = (limit, None) if kind is ConditionKind.AT_LEAST else (None, limit)
        return Condition(name, text, kind, signal, low, high, unit=unit, hold_s=2.0, printed=text, source=source)
    signal, rest = _split(text)
    found = _limits(rest) if signal else None
    if found is None:
        return Condition(name, text, ConditionKind.DECLARED, printed=text, source=source)
    low, high, unit = found
    kind = (
        ConditionKind.WITHIN
        if None not in {low, high}
        else (ConditionKind.AT_LEAST if high is None else ConditionKind.AT_MOST)
    )
    return Condition(name, text, kind, signal, low, high, unit=unit, hold_s=2.0, printed=text, source=source)


def criterion_from(phrase: str, number: int, source: str, saved: str) -> Criterion | None:
    """One phrase as a printed limit on idle speed or fuel trims; None where no criterion is computed from it."""
    text = " ".join(phrase.split())
    trims = re.match(r"(?:fuel )?trims?\b", text, re.IGNORECASE)
    signal, rest = ("", text[trims.end() :].strip()) if trims else _split(text)
    found = _limits(rest)
    if found is None:
        return None
    low, high, unit = found
    limits = LimitData(unit, "printed", low, high, text, source or "page as given")
    if trims:
        return TrimSum(f"limit-{number}", text, saved, limits)
    if signal == "engine-speed":
        return IdleMean(f"limit-{number}", text, saved, limits)
    return None


def _split(text: str) -> tuple[str, str]:
    """Signal and the rest of a phrase; no signal when it begins with none of the words."""
    plain = text.casefold()
    for words in sorted(SIGNAL_WORDS, key=len, reverse=True):
        if plain.startswith(words + " "):
            return SIGNAL_WORDS[words], text[len(words) :].strip()
    return "", text


def _limits(rest: str) -> _Limits | None:
    plain = rest.casefold()
    if match := _AROUND.fullmatch(plain):
        middle, width = float(match[1]), float(match[2])
        return _with_unit(middle - width, middle + width, match[3])
    if match := re.fullmatch(rf"(?:\+/-|±)\s*{_N}{_UNIT}", plain):
        return _with_unit(-float(match[1]), float(match[1]), match[2])
    if match := _RANGE.fullmatch(plain):
        return _with_unit(float(match[1]), float(match[2]), match[3])
    if match := _LEAST.fullmatch(plain):
        return _with_unit(float(match[1]), None, match[2])
    if match := _MOST.fullmatch(plain):
        return _with_unit(None, float(match[1]), match[2])
    return None


def _with_unit(
    low: float | None, high: float | None, unit: str | None
) -> tuple[float | None, float | None, str] | None:
    symbol = UNIT_WORDS.get(unit or "")
    return None if symbol is None else (low, high, symbol)
