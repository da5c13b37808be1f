"""What the engine module of the petrol car sees of the car and keeps."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

from ..memory import LearnedValue, Memory
from ..physics.noise import Noise
from ..physics.pedal import PedalUnit
from ..physics.powertrain import Powertrain
from ..physics.state import restore_part, save_part
from ..physics.target_wheel import TargetWheel
from .pedal_rest import PedalRest
from .petrol_diary import Diary
from .petrol_sizes import ElectronicTrain, Learnt
from .tooth_learn import ToothLearn


@dataclass(kw_only=True)
class TrainSide:
    """What any of our engine modules sees and keeps.

    Attributes:
        powertrain, diary: physics, counters. long_trim: learned. sensing: noise of its sensors.
        speed_km_h, selector, brake: from the rest of the car. lamp: whether the warning lamp is requested.
        bias, scatter, frozen: faults of single OBD parameters, by PID: added, noise added, held (None: from the next
        reading on). ripple_v: of the supply, peak to peak. busy: the module answers everything with busy.
    """

    powertrain: Powertrain[Any, Any]
    diary: Diary
    long_trim: LearnedValue
    sensing: Noise
    speed_km_h: Callable[[], float]
    selector: Callable[[], str]
    brake: Callable[[], bool]
    lamp: Callable[[], bool] = lambda: False
    bias: dict[int, float] = field(default_factory=dict[int, float])
    frozen: dict[int, float | None] = field(default_factory=dict[int, "float | None"])
    scatter: dict[int, float] = field(default_factory=dict[int, float])
    ripple_v: float = 0.0
    busy: bool = False

    def advance(self) -> None:
        """What the module does besides, up to the engine's present."""

    def save_more(self) -> dict[str, Any]:
        """State of what is its own, as JSON values."""
        return {}

    def restore_more(self, state: Mapping[str, Any]) -> None:
        """Take over what `save_more` gave."""

    def shown(self, pid: int, value: Callable[[], float]) -> Callable[[], float]:
        """What a parameter shows of a value: with bias, scatter, or frozen at what it was when first read."""

        def read() -> float:
            if not (self.bias or self.frozen or self.scatter):
                return value()
            now = value() + self.bias.get(pid, 0.0)
            if pid in self.scatter:
                now += self.scatter[pid] * self.sensing.normal()
            if pid in self.frozen:
                held = self.frozen[pid]
                now = now if held is None else held
                self.frozen[pid] = now
            return now

        return read

    @property
    def volts(self) -> float:
        """Supply as the module measures it, V."""
        ripple = self.ripple_v * self.sensing.between(-0.5, 0.5) if self.ripple_v else 0.0
        return max(0.0, self.powertrain.module_v + ripple + 0.008 * self.sensing.normal())

    @property
    def spark_deg(self) -> float:
        """Spark before top dead centre; 5 before the engine runs."""
        train = self.powertrain
        return (train.idle.spark_deg if train.pedal < 0.02 else 22.0) if train.running else 5.0


@dataclass(kw_only=True)
class EngineSide(TrainSide):
    """The side of the engine module with an electronic throttle.

    Attributes: electronic: its powertrain. values: learned. pace: how slow its learn is, 1 normal. pedal_rest_pct: of
        pedal sensor D when it was built. pedal_unit, wheel: physics. pedal, teeth: learned of them, once `learn_more`
        has been called.
    """

    electronic: ElectronicTrain
    values: Learnt
    pace: float
    pedal_rest_pct: float
    pedal_unit: PedalUnit = field(init=False)
    wheel: TargetWheel = field(init=False)
    pedal: PedalRest = field(init=False)
    teeth: ToothLearn = field(init=False)

    def learn_more(self, memory: Memory) -> None:
        """Pedal rest and tooth errors, learned long ago, in the module's memory."""
        seed = round(self.pedal_rest_pct * 1e6)
        self.pedal_unit, self.wheel = PedalUnit(self.pedal_rest_pct, seed), TargetWheel(seed)
        self.pedal = PedalRest(self.pedal_unit, self.electronic, memory)
        self.teeth = ToothLearn(self.wheel, self.electronic, memory, seed)

    def settle(self) -> None:
        """What the module now takes for the foot."""
        self.pedal.settle()

    def advance(self) -> None:
        """Foot and misfires, up to the engine's present."""
        self.pedal.settle()
        self.teeth.advance()

    def save_more(self) -> dict[str, Any]:
        """State of pedal unit, target wheel and misfire counts."""
        parts = {"pedal": self.pedal_unit, "wheel": self.wheel, "teeth": self.teeth}
        return {name: save_part(part) for name, part in parts.items()}

    def restore_more(self, state: Mapping[str, Any]) -> None:
        """Take over what `save_more` gave."""
        restore_part(self.pedal_unit, state["pedal"])
        restore_part(self.wheel, state["wheel"])
        restore_part(self.teeth, state["teeth"])


def raw_counts(percent: float) -> int:
    """12-bit counts of a sensor reading in % of its supply."""
    return min(4095, max(0, round(percent * 40.95)))


def checksum(body: bytes) -> bytes:
    """The bench's coding checksum: sum of the bytes, inverted, one byte."""
    return bytes([~sum(body) & 0xFF])
