"""Facts of a job that no module tells: the odometer, the parts fitted, the road test, who approves. A closed list."""

from __future__ import annotations

from enum import StrEnum, unique
from typing import Annotated

import msgspec

from .reading import Evidence


@unique
class FactKey(StrEnum):
    """What a fact is about. Those that may stand more than once say so."""

    WORKSHOP_ADDRESS = "workshop-address"
    WORKSHOP_LICENCE = "workshop-licence"
    CUSTOMER = "customer"
    AMENDS = "amends"
    PREVIOUS_RECORD = "previous-record"
    PLATE = "plate"
    ODOMETER_IN = "odometer-in"
    ODOMETER_OUT = "odometer-out"
    PROPULSION = "propulsion"
    VARIANT = "variant"
    TYRES = "tyres"
    COMPLAINT = "complaint"
    WORK_BY = "work-by"
    PART_FITTED = "part-fitted"  # more than once
    DECLINED = "declined"  # more than once
    MODULE_REPORT = "module-report"  # more than once: another tester's report or a photo of it
    OTHER_TESTER = "other-tester"  # described without a name, and its software level
    INTERFACE = "interface"
    INTERFACE_FIRMWARE = "interface-firmware"
    INTERFACE_CHECKED = "interface-checked"
    PROGRAM_DIGEST = "program-digest"
    GAUGE = "gauge"  # more than once: with the date its calibration is due
    CLOCK_ERROR = "clock-error"
    ROAD_DRIVER = "road-driver"
    ROAD_OBSERVER = "road-observer"
    ROAD_TIMES = "road-times"
    ROAD_DISTANCE = "road-distance"
    ROAD_SPEEDS = "road-speeds"  # more than once: one speed band and its share of time
    ROAD_AMBIENT = "road-ambient"
    ROAD_SURFACE = "road-surface"
    ROAD_MONITORS = "road-monitors"
    ROAD_CODES = "road-codes"
    ROAD_REMARKS = "road-remarks"
    ADVISORY = "advisory"  # more than once: a mechanical finding
    FOLLOW_UP = "follow-up"
    SECOND_PERSON = "second-person"
    APPROVER = "approver"
    ACKNOWLEDGED = "acknowledged"


class Fact(msgspec.Struct, frozen=True):
    """One fact, how it is known, and from what.

    Attributes:
        key: what it is about.
        text: in words or digits.
        unit: of ``text`` where it is a quantity, else empty.
        evidence: measured, observed, declared or from a document.
        source: instrument, display, paper or person it comes from.
        digest: SHA-256 of the photo or document kept beside the record, hex; empty when there is none.
    """

    key: FactKey
    text: str
    unit: str = ""
    evidence: Evidence = Evidence.DECLARED
    source: str = ""
    digest: Annotated[str, msgspec.Meta(pattern=r"^([0-9a-f]{64})?$")] = ""
