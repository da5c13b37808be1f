"""The link of a workshop that has chosen none yet: it says what to do, and carries nothing."""

from __future__ import annotations

from collections.abc import Callable
from typing import NoReturn

from asleft.model.errors import Code, LinkError
from asleft.model.frame import CanFrame
from asleft.model.origin import Origin
from asleft.ports.bus import Listener

_WHAT = "no link is chosen yet: set its address in the workshop's settings; asleft links lists what is found"


class NoLink:
    """The Link port where there is none."""

    origin = Origin.VEHICLE
    name = "no link chosen"

    async def open(self) -> None:
        """Raises LinkError (no-bus): what to do."""
        self._none()

    async def close(self) -> None:
        """Nothing to end."""

    def send(self, frame: CanFrame) -> None:
        """Raises LinkError (no-bus)."""
        del frame
        self._none()

    def listen(self, listener: Listener) -> Callable[[], None]:
        """Raises LinkError (no-bus)."""
        del listener
        self._none()

    @staticmethod
    def _none() -> NoReturn:
        raise LinkError(Code.NO_BUS, _WHAT)
