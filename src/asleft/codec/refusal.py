"""Refusals: negative response codes in plain words, with the entry condition they point to.

Use::

    refusal_of(0x84).message.text  # 'The engine is not running: start it.'
    refusal_of(0x84).signals  # ('engine-speed',): what shows it beforehand

Source: ISO 14229-1 annex A, ISO 14230-3 (names and numbers; check values, ``vectors/nrc.csv``). The plain words are
ours; families and signals are common practice, no source.
"""

from __future__ import annotations

from enum import StrEnum, unique

import msgspec

from asleft.model.message import Message, say

from .refusal_tables import KWP2000, UDS, Row


@unique
class Protocol(StrEnum):
    """The language of a conversation: the same byte may mean different things in two of them."""

    UDS = "uds"
    KWP2000 = "kwp2000"
    OBD = "obd"


@unique
class Family(StrEnum):
    """What a refusal is about. The first eleven are entry conditions that can be put right at the car."""

    ENGINE_SPEED = "engine-speed"
    ENGINE_STATE = "engine-state"
    RUN_TIME = "run-time"
    TEMPERATURE = "temperature"
    VEHICLE_SPEED = "vehicle-speed"
    PEDAL = "pedal"
    SELECTOR = "selector"
    BRAKE = "brake"
    CONVERTER = "converter-clutch"
    SUPPLY = "supply"
    UNSTATED = "unstated-condition"
    BUSY = "busy"
    SEQUENCE = "sequence"
    SUPPORT = "not-supported"
    PROCEDURE = "procedure"
    RANGE = "range"
    ACCESS = "access"
    SESSION = "session"
    TRANSFER = "transfer"
    PENDING = "pending"
    UNKNOWN = "unknown"

    @property
    def is_condition(self) -> bool:
        """Something at the car to put right before asking again."""
        return self in _CONDITIONS


_CONDITIONS = frozenset(list(Family)[:11])


class Refusal(msgspec.Struct, frozen=True):
    """One negative response code.

    Attributes:
        code: the byte.
        name: the standard's name; ``reserved`` or ``makerSpecific`` where it has none.
        family: what it is about.
        message: plain words for the technician.
        signals: signals that show it beforehand; empty where no standard signal does.
    """

    code: int
    name: str
    family: Family
    message: Message
    signals: tuple[str, ...] = ()

    @property
    def may_ask_again(self) -> bool:
        """Only *busy* may be asked again without any change, a bounded number of times."""
        return self.family is Family.BUSY


def _row(code: int, row: Row, prefix: str) -> Refusal:
    name, family, words, *signals = row
    return Refusal(code, name, Family(family), say(f"refusal.{prefix}.{code:02x}", words), tuple(signals))


UDS_REFUSALS: dict[int, Refusal] = {code: _row(code, row, "uds") for code, row in UDS.items()}
KWP_REFUSALS: dict[int, Refusal] = {code: _row(code, row, "kwp2000") for code, row in KWP2000.items()}


def refusal_of(code: int, protocol: Protocol = Protocol.UDS) -> Refusal:
    """The refusal with this code; one that the standard does not name says so.

    Args:
        code: 0 to 255.
        protocol: OBD uses the names of UDS.
    """
    table = KWP_REFUSALS if protocol is Protocol.KWP2000 else UDS_REFUSALS
    known = table.get(code)
    if known is not None:
        return known
    number = f"{code:02X}"
    if protocol is not Protocol.KWP2000 and 0xF0 <= code <= 0xFE:
        words = "A condition of the maker's own ({number}): see the manual."
        return Refusal(
            code,
            "makerSpecific",
            Family.UNSTATED,
            say("refusal.maker", words, number=number),
            UDS_REFUSALS[0x22].signals,
        )
    words = "The module refused with a code that the standard does not name ({number})."
    return Refusal(code, "reserved", Family.UNKNOWN, say("refusal.unknown", words, number=number))
