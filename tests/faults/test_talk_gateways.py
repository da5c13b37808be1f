"""Cars whose gateway bears only so many requests: every picture is complete and true, whatever it does beyond.

A fast client that loses a third of the modules looks faster than possible; so completeness is looked at first.
"""

from __future__ import annotations

import asyncio

import pytest

from asleft.bench.gateway import Overload
from asleft.job.clock import LoopClock, run_virtual
from asleft.model.module import ModuleAddress
from asleft.talk.conversations import Conversations
from asleft.talk.errors import ModuleRefused, ModuleSilent
from asleft.talk.pace import CarPace
from asleft.talk.settings import TalkSettings
from kit.fake_module import open_link
from kit.fleet import Fleet

GENTLE = TalkSettings()
MANY = TalkSettings(in_flight=24, in_flight_most=24)


async def read(talk: Conversations, fleet: Fleet) -> list[dict[bytes, bytes]]:
    async def module(address: ModuleAddress) -> dict[bytes, bytes]:
        got: dict[bytes, bytes] = {}
        for request in fleet.requests:
            try:
                got[request] = await talk.ask(address, request)
            except ModuleRefused as error:
                got[request] = bytes((0x7F, request[0], error.refusal))
            except ModuleSilent:
                return got
        return got

    return await asyncio.gather(*(module(m.address) for m in fleet.modules))


def complete(
    seed: int, settings: TalkSettings, limit: int | None, overload: Overload, modules: int = 20
) -> tuple[CarPace, float]:
    async def main(clock: LoopClock) -> tuple[CarPace, float]:
        fleet = Fleet(clock, seed, modules=modules, limit=limit, overload=overload)
        await fleet.ready()
        link = await open_link(fleet.bus, clock)
        begun_s = clock.now()
        async with Conversations(link, clock, lambda _: None, settings=settings) as talk:
            got = await read(talk, fleet)
            seconds = clock.now() - begun_s
            assert [m.address.name for m, g in zip(fleet.modules, got, strict=True) if g != m.answers] == []
        fleet.stop()
        return talk.proved, seconds

    return run_virtual(main)


@pytest.mark.parametrize("overload", list(Overload))
@pytest.mark.parametrize("limit", [2, 4, 8])
@pytest.mark.parametrize("settings", [GENTLE, MANY], ids=["gentle", "many"])
def test_every_picture_is_complete_and_true(settings: TalkSettings, limit: int, overload: Overload) -> None:
    """Twenty modules; one silent, one refusing, four pending: everything the car has, in seconds."""
    for seed in range(1):
        _, seconds = complete(seed, settings, limit, overload)
        assert seconds < (5.5 if limit > 2 else 9.0)


def test_what_a_gateway_does_not_bear_is_remembered() -> None:
    """Beginning with 24 at a gateway of 8 that drops the rest: afterwards the car has a ceiling."""
    proved, _ = complete(3, MANY, 8, Overload.DROP)
    assert proved.ceiling is not None
    assert proved.in_flight <= 12


def test_without_a_gateway_nothing_is_reduced_by_the_one_silent_module() -> None:
    """A single silent module is no sign of too much."""
    proved, _ = complete(4, MANY, None, Overload.DROP)
    assert proved.ceiling is None
    assert proved.in_flight == 24


@pytest.mark.full
@pytest.mark.parametrize("overload", list(Overload))
@pytest.mark.parametrize("limit", [4, 8, 16])
@pytest.mark.parametrize("settings", [GENTLE, MANY], ids=["gentle", "many"])
def test_forty_eight_modules_at_every_limit(settings: TalkSettings, limit: int, overload: Overload) -> None:
    """Twenty seeds each: complete every time."""
    for seed in range(20):
        complete(seed, settings, limit, overload, modules=48)
