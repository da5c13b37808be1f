"""When a bench module is awake: key, boot time, after-run, restart."""

from __future__ import annotations

from collections.abc import Callable

from asleft.ports.clock import Clock

from .sessions import Timing


class Power:
    """Power state of one module.

    Args:
        timing: boot and after-run times.
        woke: called when it has booted.
        slept: called when it falls asleep; its argument says that it only restarts.

    Attributes:
        powered: terminal power is there (key on).
        awake: powered or in after-run, and booted.
    """

    def __init__(self, timing: Timing, woke: Callable[[], None], slept: Callable[[bool], None]) -> None:
        self.powered = False
        self.awake = False
        self._timing = timing
        self._woke = woke
        self._slept = slept
        self._clock: Clock | None = None
        self._generation = 0

    def attach(self, clock: Clock) -> None:
        """Take times from this clock; without one everything happens at once."""
        self._clock = clock

    def detach(self) -> None:
        """Let go of the clock; what was set for later does not happen. Awake stays as it is."""
        self._generation += 1
        self._clock = None

    def on(self) -> bool:
        """Key on; False when it was on already."""
        if self.powered:
            return False
        self.powered = True
        if self.awake:
            self._generation += 1  # it was in its after-run: it does not fall asleep any more
        else:
            self._boot()
        return True

    def off(self) -> bool:
        """Key off: asleep after the after-run; False when it was off already."""
        if not self.powered:
            return False
        self.powered = False
        self._later(self._timing.after_run_s, self._sleep_unless_powered)
        return True

    def lost(self) -> None:
        """Supply gone: asleep at once."""
        self.powered = False
        self._sleep(restarting=False)

    def restart(self) -> None:
        """Asleep now, awake after the boot time."""
        self._sleep(restarting=True)
        self._boot()

    def restore(self, *, powered: bool) -> None:
        """As saved: powered means awake."""
        self.powered = self.awake = powered

    def _boot(self) -> None:
        self._generation += 1
        self._later(self._timing.boot_s, self._wake)

    def _wake(self) -> None:
        if self.powered:
            self.awake = True
            self._woke()

    def _sleep_unless_powered(self) -> None:
        if not self.powered:
            self._sleep(restarting=False)

    def _sleep(self, *, restarting: bool) -> None:
        self._generation += 1
        self.awake = False
        self._slept(restarting)

    def _later(self, delay_s: float, call: Callable[[], None]) -> None:
        """After a while, unless something else happened to the power in between; at once without a clock."""
        clock, generation = self._clock, self._generation
        if clock is None or delay_s <= 0.0:
            call()
            return

        def still() -> None:
            if generation == self._generation:
                call()

        clock.call_at(clock.now() + delay_s, still)
