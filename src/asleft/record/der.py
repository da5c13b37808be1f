"""Reading DER, as far as a time stamp needs it: tags, lengths, nothing beyond the bytes given. Pure.

Source: ITU-T X.690, 8.1 and 10.1 (definite lengths, shortest form); recalled.
"""

from __future__ import annotations

from typing import NamedTuple

INTEGER, OCTETS, IDENTIFIER, TIME, SEQUENCE, SET = 0x02, 0x04, 0x06, 0x18, 0x30, 0x31


class DerError(ValueError):
    """Not the DER that was expected."""


class Node(NamedTuple):
    """One value: its tag, its content, and all its bytes."""

    tag: int
    content: bytes
    whole: bytes

    def parts(self) -> list[Node]:
        """The values inside a constructed one. Raises DerError."""
        if not self.tag & 0x20:
            raise DerError("a value with no parts where parts belong")
        found: list[Node] = []
        rest = self.content
        while rest:
            found.append(first(rest))
            rest = rest[len(found[-1].whole) :]
        return found

    def of(self, tag: int) -> Node:
        """Itself, when it has this tag. Raises DerError."""
        if self.tag != tag:
            raise DerError(f"tag {self.tag:02X} where {tag:02X} belongs")
        return self

    def oid(self) -> str:
        """An object identifier with dots. Raises DerError."""
        numbers, value = [0], 0
        for byte in self.of(IDENTIFIER).content:
            value = value << 7 | byte & 0x7F
            if not byte & 0x80:
                numbers.append(value)
                value = 0
        if len(numbers) < 2:
            raise DerError("an empty identifier")
        top = min(numbers[1] // 40, 2)
        return ".".join(map(str, (top, numbers[1] - 40 * top, *numbers[2:])))


def first(data: bytes) -> Node:
    """The value at the begin of ``data``. Raises DerError."""
    if len(data) < 2 or data[0] & 0x1F == 0x1F:
        raise DerError("cut, or a tag that does not belong here")
    length, start = data[1], 2
    if length & 0x80:
        start += length & 0x7F
        length = int.from_bytes(data[2:start], "big")
        if start == 2 or length < 0x80 or data[2:3] == b"\0":
            raise DerError("a length that is not in its shortest form")
    stop = start + length
    if stop > len(data):
        raise DerError("cut")
    return Node(data[0], data[start:stop], data[:stop])


def only(data: bytes) -> Node:
    """The one value that ``data`` is. Raises DerError when something follows it."""
    node = first(data)
    if len(node.whole) != len(data):
        raise DerError("something behind the end")
    return node
