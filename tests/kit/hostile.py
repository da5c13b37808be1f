"""Hostile frames against a conversation: whatever a bus may say, for tests and for the long runs."""

from __future__ import annotations

import random

from asleft.bench.bus import InLoopBus
from asleft.job.clock import LoopClock, run_virtual
from asleft.model.errors import AsleftError
from asleft.model.frame import CanFrame
from asleft.talk.addresses import extended
from asleft.talk.conversations import Conversations
from asleft.talk.settings import TalkSettings
from kit.fake_module import BRAKES, ENGINE, open_link

#: One that shares its identifiers and is told apart by the address byte.
_SHARED = extended("trailer", 0x6A1, 0x640, target=0x40)
_STARTS = bytes.fromhex("00 01 03 07 0F 10 11 1F 20 21 22 2F 30 31 32 33 3F 40 FF")
_BODIES = tuple(bytes.fromhex(t) for t in ("62F1", "7F2278", "7F2221", "7F2231", "7F", "410C", "5003", "000000"))
_ASKED = tuple(bytes.fromhex(t) for t in ("22F190", "010C", "1003", "3E80"))


def hostile_frame(rng: random.Random, identifiers: tuple[int, ...]) -> CanFrame:
    """One frame: random, or shaped like ISO-TP and diagnostics to hurt more."""
    length = rng.choice((0, 1, 2, 3, 8, 8, 8, 8))
    data = bytearray(rng.randbytes(length))
    if data and rng.random() < 0.8:
        data[0] = rng.choice(_STARTS)
        if rng.random() < 0.5:
            body = rng.choice(_BODIES)
            data[1 : 1 + len(body)] = body
    identifier = rng.choice(identifiers)
    if identifier == _SHARED.response_id and rng.random() < 0.8:
        data[:0] = b"\xf1"
    return CanFrame(identifier, bytes(data[:8]))


def attack(frames: int, seed: int) -> dict[str, int]:
    """Send so many hostile frames at a conversation that keeps asking; what came out, by kind.

    Raises: whatever is no error of ours; AssertionError: a request took longer than its deadline.
    """

    async def main(clock: LoopClock) -> dict[str, int]:
        rng = random.Random(seed)
        bus = InLoopBus(clock)
        link = await open_link(bus, clock)
        enemy = bus.join("enemy", lambda _: None)
        left = frames
        found: dict[str, int] = {}

        def shout() -> None:
            nonlocal left
            left -= 1
            enemy.send(hostile_frame(rng, (ENGINE.response_id, BRAKES.response_id, 0x7EA, 0x640)))
            if left > 0:
                clock.call_at(clock.now() + rng.choice((0.0003, 0.001, 0.01)), shout)

        shout()
        settings = TalkSettings(in_flight=4)
        async with Conversations(link, clock, lambda _: None, settings=settings) as talk:
            while left > 0:
                begun_s, deadline_s = clock.now(), rng.choice((0.05, 0.3, 1.0))
                request = rng.choice((*_ASKED, b"\x22" + rng.randbytes(30)))
                try:
                    if rng.random() < 0.05:
                        await talk.ask_everybody(b"\x01\x00", deadline_s=deadline_s)
                    else:
                        await talk.ask(rng.choice((ENGINE, BRAKES, _SHARED)), request, deadline_s=deadline_s)
                    kind = "answered"
                except AsleftError as error:
                    kind = error.code.value
                found[kind] = found.get(kind, 0) + 1
                assert clock.now() - begun_s < deadline_s + 0.4
            assert talk.turns.taken == 0
        return found

    return run_virtual(main)
