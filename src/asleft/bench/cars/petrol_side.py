"""What the engine module of the petrol car sees of the car and keeps."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from ..physics.noise import Noise
from ..physics.powertrain import Powertrain
from .petrol_diary import Diary
from .petrol_sizes import Learnt


@dataclass
class EngineSide:
    """What the engine module sees and keeps.

    Attributes:
        powertrain, values, diary: physics, learned values, counters. sensing: noise of its sensors.
        pace: how slow its learn is, 1 normal. speed_km_h, selector, brake: from the rest of the car.
        brake, selector: driver's inputs. lamp: whether the warning lamp is requested.
    """

    powertrain: Powertrain
    values: Learnt
    diary: Diary
    sensing: Noise
    pace: float
    pedal_rest_pct: float
    speed_km_h: Callable[[], float]
    selector: Callable[[], str]
    brake: Callable[[], bool]
    lamp: Callable[[], bool] = lambda: False

    @property
    def pedal_d_pct(self) -> float:
        """Pedal sensor D, %."""
        return self.pedal_rest_pct + 72.0 * self.powertrain.pedal

    @property
    def volts(self) -> float:
        """Supply as the module measures it, V."""
        return max(0.0, self.powertrain.module_v + 0.008 * self.sensing.normal())

    @property
    def spark_deg(self) -> float:
        """Spark before top dead centre; 5 before the engine runs."""
        train = self.powertrain
        return (train.idle.spark_deg if train.pedal < 0.02 else 22.0) if train.running else 5.0


def raw_counts(percent: float) -> int:
    """12-bit counts of a sensor reading in % of its supply."""
    return min(4095, max(0, round(percent * 40.95)))


def checksum(body: bytes) -> bytes:
    """The bench's coding checksum: sum of the bytes, inverted, one byte."""
    return bytes([~sum(body) & 0xFF])
