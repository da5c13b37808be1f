"""What all forms of criteria share: names, limits as a file writes them, and what must stand round an idle."""

from __future__ import annotations

from typing import Annotated, Literal

import msgspec

from asleft.model.verdict import LimitOwner, Limits

from .window import Gate

Slug = Annotated[str, msgspec.Meta(pattern=r"^[a-z0-9]+(-[a-z0-9]+)*$")]
Seconds = Annotated[float, msgspec.Meta(gt=0.0)]

PERCENT_ENDS = (0.0, 100.0)


class LimitData(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """Limits in a procedure's file.

    Attributes:
        unit: of both.
        owner: ``printed`` (the manual's, as printed) or ``ours`` (guarded).
        low, high: with neither, the value is reported with its uncertainty and not judged (target unknown).
        printed: the limit as the manual prints it, for the reader.
        source: document and page, or "common practice, no source".
    """

    unit: str
    owner: Literal["printed", "ours"]
    low: float | None = None
    high: float | None = None
    printed: str = ""
    source: str = ""

    def __post_init__(self) -> None:
        if self.low is not None and self.high is not None and self.low > self.high:
            raise ValueError("low lies above high")
        if self.owner == "printed" and not self.source:
            raise ValueError("a printed limit names its source")

    def limits(self) -> Limits:
        """As a value for a verdict."""
        owner = LimitOwner.PRINTED if self.owner == "printed" else LimitOwner.OURS
        return Limits(self.low, self.high, self.unit, owner, self.printed, self.source)


#: What must stand round an idle that is judged. Common practice, no source.
IDLE_GATES = (
    Gate("engine-speed", "rpm", low=400.0),
    Gate("vehicle-speed", "km/h", high=0.0, needed=False),
    Gate("coolant-temperature", "°C", low=80.0),
    Gate("engine-load", "%", max_step=4.0, needed=False),
    Gate("control-module-voltage", "V", max_step=0.3, needed=False),
)
