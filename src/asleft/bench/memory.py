"""What a control module remembers, and for how long; learned values with their limits.

Three kinds of memory: lasting (survives a disconnected battery), battery (kept alive by the battery only) and power
(lost when the key is off)::

    memory = Memory()
    stop = LearnedValue(memory, "lower stop", default=0.9, low=0.5, high=1.4, kept=Kept.BATTERY)
    stop.learn(0.83)    # True: within limits, stored and counted
"""

from __future__ import annotations

from collections.abc import Mapping
from enum import StrEnum, unique
from typing import Any, cast


@unique
class Kept(StrEnum):
    """How long a memory cell keeps its content."""

    LASTING = "lasting"
    BATTERY = "battery"
    POWER = "power"


class Memory:
    """Named cells of JSON values or bytes, each of one kind, with a count of writes."""

    def __init__(self) -> None:
        self._default: dict[str, Any] = {}
        self._kept: dict[str, Kept] = {}
        self._value: dict[str, Any] = {}
        self._writes: dict[str, int] = {}

    def declare(self, name: str, default: Any, kept: Kept = Kept.LASTING) -> None:
        """Make a cell. Raises ValueError: the name is taken."""
        if name in self._kept:
            raise ValueError(f"memory cell {name!r} is declared twice")
        self._default[name] = default
        self._kept[name] = kept
        self._value[name] = default
        self._writes[name] = 0

    def __getitem__(self, name: str) -> Any:
        return self._value[name]

    def __setitem__(self, name: str, value: Any) -> None:
        if name not in self._kept:
            raise KeyError(name)
        self._value[name] = value
        self._writes[name] += 1

    def put_quietly(self, name: str, value: Any) -> None:
        """Change a cell without counting a write, for what a module adapts all the time."""
        if name not in self._kept:
            raise KeyError(name)
        self._value[name] = value

    def writes(self, name: str) -> int:
        """How often the cell was written since it was made."""
        return self._writes[name]

    def lose(self, kept: Kept) -> None:
        """Forget what is kept no longer than ``kept``; a lost battery loses the power cells too."""
        lost = {Kept.POWER} if kept is Kept.POWER else {Kept.POWER, Kept.BATTERY}
        for name, kind in self._kept.items():
            if kind in lost:
                self._value[name] = self._default[name]

    def save(self) -> dict[str, Any]:
        """JSON values: cell -> [value, writes]; bytes as ``{"hex": ...}``."""
        return {name: [_to_json(value), self._writes[name]] for name, value in self._value.items()}

    def restore(self, state: Mapping[str, Any]) -> None:
        """Take over what `save` gave; cells that are not there keep their default."""
        for name, (value, writes) in state.items():
            if name in self._kept:
                self._value[name] = _from_json(value)
                self._writes[name] = int(writes)


class LearnedValue:
    """One learned number with its limits, kept in a module's memory.

    Args:
        memory: the module's memory.
        name: of the cell.
        default: value when nothing is learned, in ``unit``.
        low, high: limits of what the module accepts.
        kept: how long it is remembered.
        unit: for messages.
    """

    def __init__(
        self,
        memory: Memory,
        name: str,
        *,
        default: float,
        low: float,
        high: float,
        kept: Kept = Kept.BATTERY,
        unit: str = "",
    ) -> None:
        self._memory = memory
        self.name = name
        self.default = default
        self.low = low
        self.high = high
        self.unit = unit
        memory.declare(name, default, kept)
        memory.declare(f"{name}: learned", False, kept)

    @property
    def value(self) -> float:
        """What the module works with."""
        return float(self._memory[self.name])

    @property
    def learned(self) -> bool:
        """Whether it was learned since the memory was last lost or forgotten."""
        return bool(self._memory[f"{self.name}: learned"])

    def learn(self, value: float) -> bool:
        """Store a value if it lies within the limits; says whether it did."""
        if not self.low <= value <= self.high:
            return False
        self._memory[self.name] = value
        self._memory[f"{self.name}: learned"] = True
        return True

    def adapt(self, step: float) -> float:
        """Move by a small step, held at the limits, without counting a write; gives the new value."""
        value = min(self.high, max(self.low, self.value + step))
        self._memory.put_quietly(self.name, value)
        return value

    def forget(self) -> None:
        """Back to the default, not learned."""
        self._memory[self.name] = self.default
        self._memory[f"{self.name}: learned"] = False


def _to_json(value: Any) -> Any:
    return {"hex": value.hex()} if isinstance(value, bytes) else value


def _from_json(value: Any) -> Any:
    if isinstance(value, dict) and "hex" in value:
        return bytes.fromhex(str(cast("dict[str, Any]", value)["hex"]))
    return cast(Any, value)
