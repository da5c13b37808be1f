"""Where the bytes came from: it stands in every record and cannot be chosen."""

from __future__ import annotations

from enum import StrEnum, unique


@unique
class Origin(StrEnum):
    """Origin of a job's data. A link says it of itself; no setting changes it."""

    VEHICLE = "vehicle"
    BENCH = "bench"
    REPLAY = "replay"


@unique
class ClockKind(StrEnum):
    """What the monotonic times of a job were read from."""

    REAL = "real"
    VIRTUAL = "virtual"
    RECORDING = "recording"


@unique
class WallTrust(StrEnum):
    """How far a wall time can be believed."""

    SYSTEM = "system"
    SIMULATED = "simulated"
    RECORDED = "recorded"
    UNKNOWN = "unknown"
