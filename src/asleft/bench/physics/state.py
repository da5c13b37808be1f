"""Saving and restoring the plain parts of the physics as JSON values.

A part names what changes in it in a class attribute ``CHANGES``; constants and specs stay out. Parts within parts and
noise streams are followed.
"""

from __future__ import annotations

from collections.abc import Mapping
from copy import deepcopy
from typing import Any, Protocol

from .noise import Noise


class Part(Protocol):
    """Something with a list of the attributes that change."""

    @property
    def CHANGES(self) -> tuple[str, ...]:  # noqa: N802 - a constant of the class
        """Names of the attributes that change."""
        ...


def save_part(part: Part) -> dict[str, Any]:
    """What has changed in a part, as JSON values."""
    return {name: _saved(getattr(part, name)) for name in part.CHANGES}


def restore_part(part: Part, state: Mapping[str, Any]) -> None:
    """Take over what `save_part` gave. Raises KeyError: the state lacks something this part needs."""
    for name in part.CHANGES:
        held = getattr(part, name)
        if isinstance(held, Noise):
            held.restore(state[name])
        elif hasattr(held, "CHANGES"):
            restore_part(held, state[name])
        else:
            setattr(part, name, deepcopy(state[name]))


def _saved(value: Any) -> Any:
    if isinstance(value, Noise):
        return value.save()
    if hasattr(value, "CHANGES"):
        return save_part(value)
    return deepcopy(value)
