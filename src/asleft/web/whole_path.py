"""Paths taken whole, line ends too: Starlette's own ``path`` stops at one, and a page would answer programs."""

from __future__ import annotations

from starlette.convertors import Convertor, register_url_convertor

#: Name of the convertor in a route: ``{rest:whole}``.
NAME = "whole"


class WholePath(Convertor[str]):
    """Any text at all."""

    regex = r"[\s\S]*"

    def convert(self, value: str) -> str:
        """The text as it is."""
        return value

    def to_string(self, value: str) -> str:
        """The text as it is."""
        return value


register_url_convertor(NAME, WholePath())
