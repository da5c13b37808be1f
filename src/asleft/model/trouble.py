"""Trouble codes as values."""

from __future__ import annotations

from enum import StrEnum, unique

import msgspec


@unique
class CodeKind(StrEnum):
    """Which memory a code was read from."""

    STORED = "stored"
    PENDING = "pending"
    PERMANENT = "permanent"


class TroubleCode(msgspec.Struct, frozen=True, order=True):
    """One trouble code of one module.

    Attributes:
        code: five characters, such as ``P2176``. Source: SAE J2012 / ISO 15031-6.
        module: name of the module that holds it.
        kind: memory it was read from.
        failure_type: failure-type byte where the module gives one.
        status: status byte where the module gives one. Source: ISO 14229-1, annex D (recalled).
        text: short description in our own words.
    """

    code: str
    module: str
    kind: CodeKind = CodeKind.STORED
    failure_type: int | None = None
    status: int | None = None
    text: str = ""

    @property
    def full(self) -> str:
        """Code with failure type, such as ``P2176-54``."""
        return self.code if self.failure_type is None else f"{self.code}-{self.failure_type:02X}"
