"""Texts for people: a stable id, the English template and its values, so that a text can be translated later.

The record keeps what was said; a translation looks the id up and fills in the same values.
"""

from __future__ import annotations

import msgspec


class Message(msgspec.Struct, frozen=True):
    """One text with its id.

    Attributes:
        id: stable, dotted, for example ``condition.not-met``.
        template: English text with ``{name}`` places.
        values: what fills the places; numbers keep the form they are shown in.
    """

    id: str
    template: str
    values: dict[str, str] = {}

    @property
    def text(self) -> str:
        """The English text, filled in. A place without a value stays visible, never an error."""
        return self.template.format_map(_Visible(self.values))


class _Visible(dict[str, str]):
    def __missing__(self, key: str) -> str:
        return "{" + key + "}"


def say(message_id: str, template: str, **values: object) -> Message:
    """Build a message; values become text as shown."""
    return Message(message_id, template, {k: v if isinstance(v, str) else str(v) for k, v in values.items()})
