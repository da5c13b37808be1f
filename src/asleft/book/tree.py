"""A file as a tree: maps, lists and scalars with their lines, before anything is interpreted."""

from __future__ import annotations

import msgspec


class Scalar(msgspec.Struct, frozen=True, gc=False):
    """One value as it stands in the file; ``plain`` when without quotes."""

    text: str
    plain: bool
    line: int


class Map(msgspec.Struct, frozen=True):
    """Keys with values; ``keys`` gives the line of each key."""

    items: dict[str, Tree]
    keys: dict[str, int]
    line: int


class List(msgspec.Struct, frozen=True):
    """Values in order."""

    items: tuple[Tree, ...]
    line: int


Tree = Scalar | Map | List
