"""Whether effects may go out at all, by where the link leads."""

from __future__ import annotations

import msgspec

from asleft.model.errors import Code, RunError
from asleft.model.origin import Origin


class WritesPolicy(msgspec.Struct, frozen=True):
    """Gate for everything that needs a receipt: open on a bench, closed on a vehicle unless the settings open it.

    Attributes:
        vehicle_open: the workshop has opened writing to real cars. Nothing opens a recording.
    """

    vehicle_open: bool = False

    def check(self, origin: Origin) -> None:
        """Raises RunError (writes-closed) where effects may not go out."""
        match origin:
            case Origin.BENCH:
                return
            case Origin.VEHICLE if self.vehicle_open:
                return
            case Origin.VEHICLE:
                raise RunError(Code.WRITES_CLOSED)
            case Origin.REPLAY:
                raise RunError(Code.WRITES_CLOSED, "this is a recording: nothing can be sent to it")
