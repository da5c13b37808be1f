"""What the loader and the lint say about a procedure file: a place, why, and what to write instead.

One line each, always in the same form::

    throttle.yaml:31: throttle-stop-learn-aldra: entry[2].unit: "C" is no unit; instead: °C
"""

from __future__ import annotations

from enum import StrEnum, unique

import msgspec

from .tree import List, Map, Tree


@unique
class Level(StrEnum):
    """Errors bar the file from use; warnings are doubtful; gaps are what is not given, and stand on the record."""

    ERROR = "error"
    WARNING = "warning"
    GAP = "gap"


class Remark(msgspec.Struct, frozen=True):
    """One remark about one place.

    Attributes:
        level: error, warning or gap.
        code: stable slug of the kind of remark.
        file: name as given.
        line: 1-based; 0 when it is about the whole file.
        procedure: its id, or ``?`` where none could be read.
        field: path such as ``entry[2].unit``; empty for the whole.
        why: what is wrong.
        instead: what to write instead.
    """

    level: Level
    code: str
    file: str
    line: int
    procedure: str
    field: str
    why: str
    instead: str

    @property
    def place(self) -> str:
        """``file:line``."""
        return f"{self.file}:{self.line}"

    @property
    def rest(self) -> str:
        """Everything after the place."""
        field = f"{self.field}: " if self.field else ""
        return f"{self.procedure}: {field}{self.why}; instead: {self.instead}"

    @property
    def text(self) -> str:
        """The whole line."""
        return f"{self.place}: {self.rest}"


class Complaint(msgspec.Struct, frozen=True):
    """A remark before its place in the file is known: the path of the field instead of the line."""

    path: Path
    code: str
    why: str
    instead: str
    level: Level = Level.ERROR


#: Keys and indices from the top of the file down to a field, in the file's spelling.
Path = tuple[str | int, ...]


def show(path: Path) -> str:
    """``('entry', 2, 'unit')`` as ``entry[2].unit``; counting begins with 1, as a person counts."""
    text = ""
    for part in path:
        text += f"[{part + 1}]" if isinstance(part, int) else (f".{part}" if text else part)
    return text


class Lines(msgspec.Struct, frozen=True):
    """Where each field stands in its file, found in the tree when it is asked for."""

    file: str
    procedure: str
    tree: Tree

    def of(self, path: Path) -> int:
        """Line of a field, or of the nearest field around it."""
        tree, line = self.tree, self.tree.line
        for part in path:
            if isinstance(tree, Map) and part in tree.items:
                key = str(part)
                tree, line = tree.items[key], tree.keys[key]
            elif isinstance(tree, List) and isinstance(part, int) and part < len(tree.items):
                tree = tree.items[part]
                line = tree.line
            else:
                break
        return line

    def has(self, path: Path) -> bool:
        """Whether the file itself gives this field."""
        tree: Tree | None = self.tree
        for part in path:
            if isinstance(tree, Map):
                tree = tree.items.get(str(part))
            elif isinstance(tree, List) and isinstance(part, int) and part < len(tree.items):
                tree = tree.items[part]
            else:
                return False
        return tree is not None

    def remark(self, complaint: Complaint) -> Remark:
        """The complaint with its place."""
        line = self.of(complaint.path)
        return Remark(
            complaint.level,
            complaint.code,
            self.file,
            line,
            self.procedure,
            show(complaint.path),
            complaint.why,
            complaint.instead,
        )


def nearest(word: str, known: tuple[str, ...]) -> str:
    """The known word most like this one, or the empty text when none is near."""
    from difflib import get_close_matches  # noqa: PLC0415 - only on the way to a message

    return next(iter(get_close_matches(word.casefold(), known, 1, 0.6)), "")
