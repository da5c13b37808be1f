"""YAML text to nodes with lines, with YAML's traps refused before anything is interpreted.

Refused: anchors, aliases, merges, tags, several documents, tabs, duplicate keys, keys that are not plain words,
characters that cannot be seen or that look like others, too much, too deep. What stays is maps, lists and scalars.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Iterator
from typing import Any

from .remark import Complaint
from .tree import List, Map, Scalar, Tree
from .yaml_events import BadYamlError, with_events

#: A manual's page typed in is a few kilobytes; a file beyond this is no procedure.
MAX_BYTES = 400_000
MAX_DEPTH = 12
MAX_NODES = 20_000

__all__ = ["List", "Map", "Scalar", "Tree", "Unreadable", "parse", "read_text"]


class Unreadable(Exception):  # noqa: N818 - it is caught and becomes remarks
    """The text is no YAML of our closed form. Holds a line for each complaint."""

    def __init__(self, complaints: list[tuple[int, Complaint]]) -> None:
        self.complaints = complaints
        super().__init__("; ".join(c.why for _, c in complaints))


def read_text(data: bytes) -> str:
    """Bytes of a file as text. Raises Unreadable: too big, not UTF-8, hidden or control characters, tabs."""
    if len(data) > MAX_BYTES:
        raise _stop(0, "too-big", f"{len(data)} bytes are no procedure", f"at most {MAX_BYTES} bytes in one file")
    try:
        text = data.decode("utf-8")
    except UnicodeDecodeError as error:
        line = data[: error.start].count(b"\n") + 1
        raise _stop(line, "encoding", "the file is not UTF-8 here", "save it as UTF-8") from None
    found = list(_characters(text))
    if found:
        raise Unreadable(found)
    return text


def parse(text: str) -> Tree:
    """Text as a tree. Raises Unreadable."""
    try:
        return with_events(text, lambda events: _Reader(events).document())
    except BadYamlError as error:
        why = f"not readable as YAML ({error})"
        raise _stop(error.line, "yaml", why, "mend this line; texts with : or # want quotes") from None


class _Reader:
    """Events of the YAML library to our tree; nothing is resolved, so nothing can be hidden.

    Thousands of files are read through here: the loop asks each event once what it is.
    """

    def __init__(self, events: Iterator[Any]) -> None:
        self._events = events
        self._nodes = 0

    def document(self) -> Tree:
        tree: Tree | None = None
        for event in self._events:
            if event.__class__.__name__ == "DocumentStartEvent":
                if tree is not None:
                    why = "a second document begins"
                    raise _stop(_line(event), "documents", why, "one procedure a file, without ---")
                tree = self._tree(next(self._events), 0)
        if tree is None:
            raise _stop(1, "empty", "the file holds nothing", "write a procedure; the docs have one to begin with")
        return tree

    def _tree(self, event: Any, depth: int) -> Tree:
        self._nodes += 1
        line = _line(event)
        kind = event.__class__.__name__
        if self._nodes > MAX_NODES:
            raise _stop(line, "too-many", f"more than {MAX_NODES} entries", "one procedure a file")
        if depth > MAX_DEPTH:
            raise _stop(line, "too-deep", f"nested deeper than {MAX_DEPTH}", "the form needs fewer levels")
        if kind == "AliasEvent" or event.anchor is not None:
            raise _stop(line, "anchor", "anchors and aliases hide what is written", "write the value out")
        if (tag := event.tag) is not None:
            raise _stop(line, "tag", f"the tag {tag} asks for a type", "leave the tag out; use quotes for a text")
        if kind == "ScalarEvent":
            return Scalar(str(event.value), not event.style, line)
        if kind == "MappingStartEvent":
            return self._map(depth, line)
        if kind == "SequenceStartEvent":
            return List(tuple(self._items(depth)), line)
        raise _stop(line, "yaml", "not readable as YAML", "see the form in the docs")

    def _items(self, depth: int) -> Iterator[Tree]:
        while (event := next(self._events)).__class__.__name__ != "SequenceEndEvent":
            yield self._tree(event, depth + 1)

    def _map(self, depth: int, line: int) -> Map:
        items: dict[str, Tree] = {}
        keys: dict[str, int] = {}
        while (event := next(self._events)).__class__.__name__ != "MappingEndEvent":
            key = self._tree(event, depth + 1)
            if not isinstance(key, Scalar):
                raise _stop(_line(event), "key", "a key is a list or a map", "plain words as keys")
            text = key.text
            if text == "<<":
                raise _stop(key.line, "anchor", "a merge hides what is written", "write the values out")
            if text in items:
                why = f'"{text}" stands here a second time (first in line {keys[text]})'
                raise _stop(key.line, "duplicate-key", why, "keep one of them")
            items[text] = self._tree(next(self._events), depth + 1)
            keys[text] = key.line
        return Map(items, keys, line)


def _characters(text: str) -> Iterator[tuple[int, Complaint]]:
    for number, line in enumerate(text.split("\n"), 1):
        line = line.removesuffix("\r")  # noqa: PLW2901
        if line.isascii() and line.isprintable():
            continue
        if "\t" in line:
            yield number, Complaint((), "tab", "a tab", "spaces")
        for character in line:
            if character == "\t" or character.isprintable():
                continue
            name = unicodedata.name(character, f"U+{ord(character):04X}")
            yield number, Complaint((), "character", f"a character that cannot be seen ({name})", "take it out")
            break
        if unicodedata.normalize("NFC", line) != line:
            yield number, Complaint((), "character", "an accent or sign made of parts", "the single character (NFC)")


def _line(event: Any) -> int:
    mark = event.start_mark
    return int(mark.line) + 1 if mark is not None else 0


def _stop(line: int, code: str, why: str, instead: str) -> Unreadable:
    return Unreadable([(line, Complaint((), code, why, instead))])
