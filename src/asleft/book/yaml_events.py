"""Events of a YAML text, from whichever parser is there: libyaml's where PyYAML has it, else the one in Python.

Both give the same events with line marks (a contract test compares them); libyaml's is about ten times faster.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from functools import cache
from importlib import import_module
from typing import Any, cast


class BadYamlError(Exception):
    """The text is no YAML; ``line`` counts from 1, 0 when not known."""

    def __init__(self, why: str, line: int) -> None:
        self.line = line
        super().__init__(why)


_Parse = Callable[[str], Iterator[Any]]


def events_of(text: str) -> Iterator[Any]:
    """Events in order; each has a ``start_mark``. Raises BadYamlError while they are read."""
    parse, errors = parser()
    return _told(parse(text), errors)


@cache
def parser() -> tuple[_Parse, type[Exception]]:
    """The parser in use and its errors."""
    return fast_parser() or plain_parser()


def fast_parser() -> tuple[_Parse, type[Exception]] | None:
    """libyaml's, or None where PyYAML or its C part is not there."""
    try:
        yaml = cast("Any", import_module("yaml"))
        loader = yaml.CSafeLoader
    except (ImportError, AttributeError):
        return None
    return lambda text: yaml.parse(text, Loader=loader), yaml.YAMLError


def plain_parser() -> tuple[_Parse, type[Exception]]:
    """The one in Python."""
    yaml = cast("Any", import_module("ruamel.yaml"))
    return lambda text: yaml.YAML(typ="safe", pure=True).parse(text), yaml.error.YAMLError


def _told(events: Iterator[Any], errors: type[Exception]) -> Iterator[Any]:
    try:
        yield from events
    except errors as error:
        found = cast("Any", error)
        mark = getattr(found, "problem_mark", None) or getattr(found, "context_mark", None)
        why = str(getattr(found, "problem", None) or getattr(found, "context", None) or found)
        raise BadYamlError(why, int(mark.line) + 1 if mark is not None else 0) from None
