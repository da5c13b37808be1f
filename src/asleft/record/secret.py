"""Secrets never enter a record: of an access key or its answer only the service and the step are written down. Pure.

Source: ISO 14229-1, securityAccess (27) and authentication (29); ISO 14230-3, securityAccess (27); recalled.
"""

from __future__ import annotations

from typing import TypeVar

import msgspec

from asleft.event.body import EffectAnswered
from asleft.model.effect import Effect, Intent

#: Service and step, in hexadecimal digits.
_TOLD = 4

_REQUESTS = ("27", "29")
_ANSWERS = ("67", "69")

T = TypeVar("T", Intent, EffectAnswered)


def without_secrets(value: T) -> T:
    """The same without keys, seeds, certificates and their proofs."""
    if isinstance(value, Intent):
        if value.effect is Effect.ACCESS or value.payload.startswith(_REQUESTS):
            return msgspec.structs.replace(value, payload=value.payload[:_TOLD])
        return value
    return msgspec.structs.replace(value, answer=value.answer[:_TOLD]) if value.answer.startswith(_ANSWERS) else value
