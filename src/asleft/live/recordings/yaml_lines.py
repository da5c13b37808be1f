"""YAML text as plain entries that know their line. Aliases are refused; nothing is interpreted: scalars stay text."""

from __future__ import annotations

from typing import Any, NamedTuple, cast

from ruamel.yaml import YAML
from ruamel.yaml.error import YAMLError
from ruamel.yaml.events import AliasEvent
from ruamel.yaml.nodes import MappingNode, ScalarNode

#: A column map is a few kilobytes.
MAX_CHARACTERS = 200_000
MAX_DEPTH = 8


class Entry(NamedTuple):
    """One node: text, list or map, and the line it begins at; ``keys`` gives the line of each key of a map."""

    line: int
    value: str | list[Entry] | dict[str, Entry]
    keys: dict[str, int]


class NotYamlError(Exception):
    """The text is not a simple YAML document."""

    def __init__(self, line: int, why: str) -> None:
        self.line = line
        self.why = why
        super().__init__(f"line {line}: {why}")


def entries(text: str) -> Entry:
    """The document. Raises NotYamlError."""
    if len(text) > MAX_CHARACTERS:
        raise NotYamlError(1, f"more than {MAX_CHARACTERS} characters")
    # Any: the library's nodes carry no types
    reader = cast("Any", YAML(typ="safe", pure=True))
    try:
        for event in reader.parse(text):
            if isinstance(event, AliasEvent):
                raise NotYamlError(_line(event), "an alias (*) is not allowed")
        root = reader.compose(text)
    except YAMLError as error:
        mark = getattr(error, "problem_mark", None)
        raise NotYamlError(mark.line + 1 if mark else 1, str(getattr(error, "problem", error))) from error
    except RecursionError as error:
        raise NotYamlError(1, "nested too deeply") from error
    if root is None:
        raise NotYamlError(1, "there is nothing in it")
    return _entry(root, 0)


def _entry(node: Any, depth: int) -> Entry:
    line = _line(node)
    if depth > MAX_DEPTH:
        raise NotYamlError(line, "nested too deeply")
    if isinstance(node, ScalarNode):
        return Entry(line, str(cast("Any", node).value), {})
    if not isinstance(node, MappingNode):
        return Entry(line, [_entry(part, depth + 1) for part in node.value], {})
    found: dict[str, Entry] = {}
    keys: dict[str, int] = {}
    for key, value in cast("Any", node).value:
        name = str(key.value).strip()
        if name in found:
            raise NotYamlError(_line(key), f"{name!r} stands twice: leave one")
        found[name], keys[name] = _entry(value, depth + 1), _line(key)
    return Entry(line, found, keys)


def _line(node: Any) -> int:
    return int(node.start_mark.line) + 1
