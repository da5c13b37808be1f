"""Twenty thousand hostile frames at a conversation: nothing but typed errors comes out, every request in its time."""

from __future__ import annotations

import pytest

from kit.hostile import attack


@pytest.mark.parametrize("seed", range(4))
def test_hostile_frames(seed: int) -> None:
    """Five thousand frames a seed, shaped to hurt, on the identifiers that are listened to."""
    found = attack(5_000, seed)
    assert sum(found.values()) > 40
    assert len(found) >= 4  # it was really hit: several kinds of ends
