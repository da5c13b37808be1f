"""Whether a trouble code is on a procedure's list: a code, a code with its failure type, or a range. Pure."""

from __future__ import annotations

from collections.abc import Iterable

from asleft.model.trouble import TroubleCode


def entry_for(code: TroubleCode, entries: Iterable[str]) -> str | None:
    """The entry that names this code, the most exact one first; None when none does.

    Args: entries: ``P2176``, ``P2176-54`` (only with this failure type) or ``P0120..P0124`` (both ends included).
    """
    listed = tuple(entries)
    if code.failure_type is not None and code.full in listed:
        return code.full
    if code.code in listed:
        return code.code
    return next((entry for entry in listed if _in_range(code.code, entry)), None)


def _in_range(code: str, entry: str) -> bool:
    low, dots, high = entry.partition("..")
    return bool(dots) and low[0] == code[0] == high[0] and low <= code <= high
