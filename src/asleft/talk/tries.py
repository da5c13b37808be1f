"""How often one read is asked, and after which pause: busy, silent, broken, or lost because it was too much at once."""

from __future__ import annotations

from asleft.codec.isotp import OtherSideFull, TransferBroken
from asleft.ports.clock import Clock

from .errors import ModuleRefused, ModuleSilent
from .matching import BUSY
from .pace import Pace
from .settings import TalkSettings

Failure = ModuleRefused | ModuleSilent | TransferBroken


class Tries:
    """The attempts of one read.

    Args:
        settings: how many of which kind.
        clock: of the link.
        pace: told of what is lost and answered.
        module: which module, for the pace.

    Attributes:
        silent: attempts that were silent or broke.
        error: the last failure.
    """

    def __init__(self, settings: TalkSettings, clock: Clock, pace: Pace, module: int) -> None:
        self.silent = 0
        self.error: Failure | None = None
        self._busy = 0
        self._settings = settings
        self._clock = clock
        self._pace = pace
        self._module = module
        self._first_s = clock.now()
        self._begun_s = self._first_s
        self._lost_s: float | None = None

    @property
    def alone(self) -> bool:
        """Whether the next attempt is the last chance of one that may have been lost.

        It comes after a pause in which a gateway can finish or forget what it has, and nobody else speaks then.
        """
        most = self._settings.silent_retries + self._settings.loss_retries
        return self.silent >= most > self._settings.silent_retries

    def begin(self) -> None:
        """An attempt goes out now."""
        self._begun_s = self._clock.now()

    def answered(self) -> None:
        """It was answered."""
        self._pace.answered(self._module, self._lost_s)

    def failed(self, error: Failure, end_s: float) -> float | None:
        """Pause before the next attempt, s; None: that was the last one, its error stands."""
        self.error = error
        pause_s = self._refused(error) if isinstance(error, ModuleRefused) else self._silent(error)
        if pause_s is None or self._clock.now() + pause_s >= end_s:
            return None
        return pause_s

    def _refused(self, error: ModuleRefused) -> float | None:
        if error.refusal != BUSY:
            self._pace.answered(self._module)
            return None
        self._pace.lost(self._module, self._begun_s)
        self._lost_s = self._begun_s
        self._busy += 1
        most = self._settings.busy_retries + (self._settings.loss_retries if self._too_much else 0)
        return None if self._busy > most else self._settings.busy_pause_s * self._busy

    def _silent(self, error: ModuleSilent | TransferBroken) -> float | None:
        self.silent += 1
        if isinstance(error, OtherSideFull):
            return self._too_full()
        if isinstance(error, TransferBroken):
            return None if self.silent > self._settings.silent_retries else self._settings.calm_s
        if error.pending:
            return None  # it took the request and works on it: asking again would only be in its way
        self._pace.lost(self._module, self._begun_s)
        most = self._settings.silent_retries + (self._settings.loss_retries if self._too_much else 0)
        if self.silent > most:
            self._pace.absent(self._module)
            return None
        self._lost_s = self._begun_s
        return self._settings.straggler_s if self.alone else 0.0

    def _too_full(self) -> float | None:
        """A long request was turned away in the middle: as *busy*, said by whoever stands in between."""
        self.silent -= 1
        self._pace.lost(self._module, self._begun_s)
        self._lost_s = self._begun_s
        self._busy += 1
        most = self._settings.busy_retries if self._too_much else self._settings.silent_retries
        return None if self._busy > most else self._settings.busy_pause_s * self._busy

    @property
    def _too_much(self) -> bool:
        """Something was lost because there was too much at once, while this was being asked."""
        return self._pace.reduced_since(self._first_s)
