"""``prove`` over a real link: a hosted car on DoIP over loopback, in another process and in real time."""

from __future__ import annotations

import asyncio
from pathlib import Path

import pytest

from asleft.bench.client import HostedCar
from asleft.model.errors import InputError
from asleft.model.verdict import Reason, Verdict
from asleft.practice.proving import prove_on_link

IDLE = Path(__file__).resolve().parents[3] / "src" / "asleft" / "book" / "data" / "idle-proof.yaml"


def test_a_link_that_is_too_short_watched_tells_nothing_and_says_why() -> None:
    async def main() -> None:
        async with HostedCar("petrol", seed=3, doip=True) as hosted:
            await hosted.driver.act("key", position="on")
            await asyncio.sleep(1.5)  # its modules boot, in real time
            address = f"doip:127.0.0.1:{hosted.doip['tcp']}"
            judgements, origin = await asyncio.to_thread(prove_on_link, IDLE, address, 2.0)
        assert origin.value == "vehicle", "what comes over a network says so itself"
        assert {j.verdict for j in judgements} == {Verdict.CANNOT_TELL}
        assert all(set(j.reasons) & {Reason.WINDOW, Reason.FROZEN, Reason.TOO_FEW} for j in judgements)

    asyncio.run(main())


def test_an_address_nobody_knows() -> None:
    with pytest.raises(InputError):
        prove_on_link(IDLE, "telepathy:7", 1.0)
