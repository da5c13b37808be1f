"""Which of many alike cases every run plays; the others are for the long run."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from typing import Any

import pytest


def few(cases: Iterable[Any], quick: Collection[Any]) -> list[Any]:
    """Parameters for ``parametrize``: those in ``quick`` always, the others marked ``full``."""
    return [case if case in quick else pytest.param(case, marks=pytest.mark.full) for case in cases]
