"""Events of a YAML text, from whichever parser is there: libyaml's where PyYAML has it, else the one in Python.

Both give the same events with line marks (a contract test compares them); libyaml's is about ten times faster.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from functools import cache
from importlib import import_module
from typing import Any, TypeVar, cast

T = TypeVar("T")


class BadYamlError(Exception):
    """The text is no YAML; ``line`` counts from 1, 0 when not known."""

    def __init__(self, why: str, line: int) -> None:
        self.line = line
        super().__init__(why)


_Parse = Callable[[str], Iterator[Any]]


def with_events(text: str, use: Callable[[Iterator[Any]], T]) -> T:
    """What ``use`` makes of the events in order; each has a ``start_mark``.

    Raises: BadYamlError: the text is no YAML, from where it was read.
    """
    parse, errors = parser()
    try:
        return use(parse(text))
    except errors as error:
        raise _told(error) from None


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
    # The loader's own reading of events, without a generator round each one: measured a fifth of the whole.
    return lambda text: iter(loader(text).get_event, None), yaml.YAMLError


def plain_parser() -> tuple[_Parse, type[Exception]]:
    """The one in Python."""
    yaml = cast("Any", import_module("ruamel.yaml"))
    return lambda text: yaml.YAML(typ="safe", pure=True).parse(text), yaml.error.YAMLError


def _told(error: Exception) -> BadYamlError:
    found = cast("Any", error)
    mark = getattr(found, "problem_mark", None) or getattr(found, "context_mark", None)
    why = str(getattr(found, "problem", None) or getattr(found, "context", None) or found)
    return BadYamlError(why, int(mark.line) + 1 if mark is not None else 0)
