"""Bad days: every fault that a bus, a module, an interface or a stranger can bring, seeded, in virtual time.

Frames lost, doubled, reordered, late, destroyed, cut; wrong numbers; flow control wrong, endless, overflowing; answers
of the wrong module and of impossible length; a module that restarts in the middle; floods; the interface unplugged.
Three hundred days here, three thousand in the full run, twenty thousand in ``make soak``.
"""

from __future__ import annotations

from collections import Counter

import pytest

from kit.bad_day import FAULTS, bad_day

#: Days here, and in the full run.
DAYS, MANY = 300, 3000
KINDS = {"answered", "module-silent", "module-refused", "answer-malformed", "transfer-broken", "link-lost", "link-busy"}
#: Faults of which some exchanges cannot come through.
BITES = {"lost", "cut", "flow control overflow", "impossible length", "restart", "unplugged"}


@pytest.mark.parametrize("fault", FAULTS)
@pytest.mark.parametrize("days", [DAYS, pytest.param(MANY, marks=pytest.mark.full)])
def test_every_exchange_ends_in_time_and_the_link_stays_usable(fault: str, days: int) -> None:
    """Days led by each fault: ended true or typed in time, nothing left taken, usable afterwards."""
    ended: Counter[str] = Counter()
    for seed in range(FAULTS.index(fault), days, len(FAULTS)):
        ended.update(bad_day(seed))
    assert ended.total() == days // len(FAULTS) * 8
    assert set(ended) <= KINDS
    if fault in BITES:
        assert set(ended) - {"answered"}  # it really struck
