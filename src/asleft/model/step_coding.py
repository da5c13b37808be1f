"""Steps of coding: composed, explained, written once and read back; then each changed option tried at the car."""

from __future__ import annotations

from typing import Annotated

import msgspec

from .effect import Reaction, Settle


class Coding(msgspec.Struct, frozen=True, tag="coding", forbid_unknown_fields=True):
    """Read the coding, compose it anew or take a stored picture, write it once. Source: ISO 14229-1, service 2E.

    Attributes:
        layout: id of the layout; it names the identifier and the modules it is for.
        save: name under which the changed options are kept.
        restore: how the old coding comes back; said before it is sent.
    """

    id: str
    name: str
    layout: Annotated[str, msgspec.Meta(pattern=r"^[a-z][a-z0-9]*(-[a-z0-9]+)*$")]
    save: str = "coding"
    restore: str = ""
    settle: Settle = Settle.READ_BACK
    reaction: Reaction = Reaction.NEVER_INTERRUPT


class FunctionTests(msgspec.Struct, frozen=True, tag="function-tests", forbid_unknown_fields=True):
    """Read the coding again, then have a person try each changed option and tick it.

    Attributes: of: what the coding step saved.
    """

    id: str
    of: str = "coding"
