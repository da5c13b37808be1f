"""What a powertrain is made of, and what it asks of whatever lets its air in."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Generic, Protocol, TypeVar

from .crank import Crank
from .fuel import FuelControl
from .heat import Temperatures
from .idle import IdleControl
from .manifold import Manifold
from .noise import Noise
from .supply import Supply


class AirBody(Protocol):
    """What lets the air in."""

    fitted: bool

    @property
    def area_m2(self) -> float:
        """Effective area open now, m²."""
        ...


class AirControl(Protocol):
    """What the engine module does to it."""

    moving: bool

    @property
    def stop_wrong(self) -> bool | None:
        """The module does not trust the closed position; None: not known yet."""
        ...

    @property
    def learning(self) -> bool:
        """A learn is under way."""
        ...

    @property
    def following(self) -> bool:
        """It follows the pedal with the engine off."""
        ...

    def key_on(self) -> None:
        """Key on."""
        ...

    def key_off(self) -> None:
        """Key off."""
        ...

    def step(self, dt_s: float, running: bool, pedal: float, idle_area_mm2: float) -> None:
        """Advance by ``dt_s`` with the key on: pedal 0 to 1, idle control asks for an effective area."""
        ...


BodyT = TypeVar("BodyT", bound=AirBody)
ControlT = TypeVar("ControlT", bound=AirControl)


@dataclass
class Parts(Generic[BodyT, ControlT]):
    """What a powertrain is made of.

    Attributes:
        throttle, manifold, crank, temperatures, supply: the plant. plate, idle, fuel: the engine module's control.
        noise: of combustion. alternator_v: what the alternator regulates to, cold. alternator_a: what it can give at
        2000 rpm.
    """

    throttle: BodyT
    manifold: Manifold
    crank: Crank
    temperatures: Temperatures
    supply: Supply
    plate: ControlT
    idle: IdleControl
    fuel: FuelControl
    noise: Noise
    alternator_v: float = 14.25
    alternator_a: float = 95.0
