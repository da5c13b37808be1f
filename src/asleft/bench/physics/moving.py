"""Something driven by a motor: on a fixed grid of time while it is driven, in one jump otherwise."""

from __future__ import annotations

#: Grid of time while something is driven, s.
GRID_S = 0.05


class Moving:
    """Base of motor-driven parts. Derived classes say whether they are driven and what one step does.

    Attributes: now_s: time reached. current_a: the motor draws now.
    """

    CHANGES: tuple[str, ...] = ("now_s", "current_a")

    def __init__(self) -> None:
        self.now_s = 0.0
        self.current_a = 0.0

    @property
    def driven(self) -> bool:
        """The motor is on."""
        raise NotImplementedError

    def step(self, dt_s: float, volts: float) -> None:
        """One step with the motor on."""
        raise NotImplementedError

    def advance(self, t_s: float, volts: float) -> None:
        """Bring it to ``t_s`` at a supply of ``volts``."""
        while self.now_s < t_s - 1e-9:
            if not self.driven:
                self.current_a = 0.0
                self.now_s = t_s
                return
            dt_s = min(GRID_S, t_s - self.now_s)
            self.step(dt_s, volts)
            self.now_s += dt_s
