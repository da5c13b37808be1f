"""Which modules give standard OBD data, and which parameters each supports: asked once, remembered.

Source: SAE J1979 / ISO 15031-5, service 01, parameters 00, 20, 40 … (recalled).
"""

from __future__ import annotations

from typing import Protocol, runtime_checkable

import msgspec

from asleft.codec.answer import AnswerMalformed
from asleft.codec.obd import bitmaps, current
from asleft.codec.obd.parameters import PARAMETERS
from asleft.model.errors import ModuleError
from asleft.model.module import ModuleAddress
from asleft.ports.conversation import Conversation

from .catalogue import parameters_of

#: Where the engine's module listens when nothing else is known. Source: ISO 15765-4 (recalled).
ENGINE = ModuleAddress("engine", 0x7E0, 0x7E8)


@runtime_checkable
class AsksEverybody(Protocol):
    """A conversation that can ask all OBD modules at once."""

    async def ask_everybody(
        self, request: bytes, *, wide: bool = False, deadline_s: float | None = None
    ) -> dict[ModuleAddress, object]:
        """Answers by the module that gave them."""
        ...


class Source(msgspec.Struct, frozen=True):
    """One module and the parameters it supports."""

    address: ModuleAddress
    parameters: frozenset[int]


async def find_sources(talk: Conversation, addresses: tuple[ModuleAddress, ...] | None) -> tuple[Source, ...]:
    """The modules that give standard data, with what they support; those that keep silent are left out.

    Args:
        talk: conversation.
        addresses: whom to ask; None: whoever answers to everybody, on 11-bit and else on 29-bit identifiers.
    Raises: LinkError.
    """
    if addresses is None:
        addresses = await _answering(talk)
    sources = [Source(address, await _supported(talk, address)) for address in addresses]
    return tuple(source for source in sources if source.parameters)


async def _answering(talk: Conversation) -> tuple[ModuleAddress, ...]:
    if not isinstance(talk, AsksEverybody):
        return (ENGINE,)
    for wide in (False, True):
        found = await talk.ask_everybody(b"\x01\x00", wide=wide)
        if found:
            return tuple(sorted(found, key=lambda address: address.response_id))
    return ()


async def _supported(talk: Conversation, address: ModuleAddress) -> frozenset[int]:
    found: frozenset[int] = frozenset()
    base: int | None = 0x00
    while base is not None:
        try:
            answer = await talk.ask(address, current.current_request([base]))
            more = bitmaps.supported(base, current.split_current(answer, [base]).get(base, b""))
        except (ModuleError, AnswerMalformed):
            break
        found |= more
        base = bitmaps.next_bitmap(base, more)
    return found - set(bitmaps.BITMAP_IDS)


def choose(signal: str, sources: tuple[Source, ...]) -> tuple[Source, int] | None:
    """Module and parameter that a signal is read from: the first module that has it, its more usual parameter."""
    for source in sources:
        for pid in parameters_of(signal):
            if pid in source.parameters and pid in PARAMETERS:
                return source, pid
    return None
