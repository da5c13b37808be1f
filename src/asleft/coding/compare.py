"""Two codings side by side: option by option in words, unknown bits apart, because nobody may change those."""

from __future__ import annotations

import msgspec

from asleft.model.reading import to_hex

from .decode import decode
from .layout import Layout


class Change(msgspec.Struct, frozen=True):
    """One option that differs. ``test``: how a person sees that it works; empty: nothing to see."""

    option: str
    name: str
    before: str
    after: str
    test: str = ""

    @property
    def text(self) -> str:
        """One line."""
        return f"{self.name}: {self.before} -> {self.after}"


class Comparison(msgspec.Struct, frozen=True):
    """What differs.

    Attributes:
        changes: options, in the layout's order.
        unknown: bits that no source explains and that differ, hex; empty when none do.
        blank_before: the first was a new module's, so each option changes.
    """

    changes: tuple[Change, ...]
    unknown: str
    blank_before: bool

    @property
    def same(self) -> bool:
        """Nothing differs but perhaps a checksum."""
        return not self.changes and not self.unknown


def compare(layout: Layout, before: bytes, after: bytes) -> Comparison:
    """Two codings of one layout. Raises InputError (coding-refused): another length."""
    old, new = decode(layout, before), decode(layout, after)
    tests = {o.id: o.test for o in layout.options}
    changes = tuple(
        Change(a.option, a.name, "not coded" if old.blank else a.words, b.words, tests[a.option])
        for a, b in zip(old.options, new.options, strict=True)
        if a.raw != b.raw or (old.blank and not new.blank)
    )
    left, right = bytes.fromhex(old.unknown), bytes.fromhex(new.unknown)
    unknown = bytes(a ^ b for a, b in zip(left, right, strict=True))
    return Comparison(changes, to_hex(unknown) if any(unknown) else "", old.blank)
