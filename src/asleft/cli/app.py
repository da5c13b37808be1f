"""Verbs as commands: all together, or only the one that is asked for."""

from __future__ import annotations

from collections.abc import Iterable
from importlib import import_module

import typer

from .verbs import ABOUT, VERBS


def make_app(verbs: Iterable[str]) -> typer.Typer:
    """The command line with these verbs; only their modules are imported."""
    made = typer.Typer(
        name="asleft", help=ABOUT, no_args_is_help=True, add_completion=True, pretty_exceptions_enable=False
    )
    made.callback()(_nothing)  # so that one verb alone stays a verb
    for verb in verbs:
        module, name, _ = VERBS[verb]
        what = getattr(import_module(f".{module}", __package__), name)
        if isinstance(what, typer.Typer):
            made.add_typer(what, name=verb)
        else:
            made.command(verb)(what)
    return made


def _nothing() -> None:
    """Before any verb: nothing."""


def __getattr__(name: str) -> typer.Typer:
    """``app``: all verbs; imported by documents, completion and tests."""
    if name != "app":
        raise AttributeError(name)
    return make_app(VERBS)
