"""Effects on a car: the intent first, the receipt, how it settled."""

from __future__ import annotations

from enum import StrEnum, unique

import msgspec

from .module import ModuleAddress
from .reading import Hex


@unique
class Effect(StrEnum):
    """What bytes do to a module. Decided from the bytes alone."""

    READS = "reads"
    SESSION = "session"
    ACTUATES = "actuates"
    WRITES = "writes"
    CLEARS = "clears"
    RESTARTS = "restarts"
    ACCESS = "access"

    @property
    def needs_receipt(self) -> bool:
        """Everything but reading and opening a session that ends by itself."""
        return self not in (Effect.READS, Effect.SESSION)


@unique
class Reaction(StrEnum):
    """What a step does when an interlock breaks or a person says stop."""

    STOP = "stop"
    FINISH = "finish"
    NEVER_INTERRUPT = "never-interrupt"


@unique
class Settle(StrEnum):
    """How it is found out afterwards whether an effect happened."""

    READ_BACK = "read-back"
    ROUTINE_RESULT = "routine-result"
    CODES_READ_AGAIN = "codes-read-again"
    NOT_READABLE = "not-readable"


@unique
class Settlement(StrEnum):
    """What was found out."""

    DONE = "done"
    NOT_DONE = "not-done"
    RESTORED = "restored"
    PERSON_MUST_DECIDE = "person-must-decide"


class Intent(msgspec.Struct, frozen=True):
    """Written down durably before an effect.

    Attributes:
        id: unique in the job.
        run: run it belongs to.
        effect: from the bytes.
        target: module.
        serial: the module's serial number as read before; empty when it gives none.
        fingerprint: SHA-256 over what was read of the module before, hex.
        payload: exact bytes to be sent.
        why: procedure and step.
        settle: how it will be settled.
        repeat_of: id of the intent this deliberately repeats; empty when none.
    """

    id: str
    run: str
    effect: Effect
    target: ModuleAddress
    serial: str
    fingerprint: str
    payload: Hex
    why: str
    settle: Settle
    repeat_of: str = ""


class Receipt(msgspec.Struct, frozen=True):
    """Permission to send exactly these bytes to this module once. Only a Journal makes one.

    It never enters a record.
    """

    job: str
    intent: str
    sequence: int
    target: ModuleAddress
    payload: Hex
    token: str
