"""Open data for faces: procedures from ODX data bases, signals from DBC descriptions."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from asleft.book.dbc import DbcSignals, read_dbc
from asleft.book.odx import Imported, read_odx, variants_of
from asleft.book.odx_text import Frame, odx_procedure

__all__ = ["Frame", "Imported", "dbc_signals", "odx_services", "odx_text", "odx_variants"]


def odx_variants(path: Path) -> tuple[str, ...]:
    """Variants of a data base. Raises InputError: import-impossible."""
    return variants_of(path)


def odx_services(path: Path, variant: str) -> Imported:
    """What a variant's services become, and what is refused. Raises InputError: import-impossible."""
    return read_odx(path, variant)


def odx_text(path: Path, variant: str, services: Sequence[str], frame: Frame) -> str:
    """A procedure file of chosen services. Raises InputError: import-impossible, procedure-bad."""
    return odx_procedure(read_odx(path, variant), services, frame)


def dbc_signals(path: Path) -> DbcSignals:
    """Signals of a network description, and what is refused. Raises InputError: import-impossible."""
    return read_dbc(path)
