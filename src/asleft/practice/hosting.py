"""Hosting a bench car for other programs, until interrupted."""

from __future__ import annotations

import asyncio
import contextlib
import signal
from collections.abc import Callable

from asleft.bench.client import HostedCar

_ACT = '{"act": "key", "args": {"position": "on"}}'


async def host(car: str, seed: int, speed: float, say: Callable[[str], None]) -> None:
    """Serve a car on its links in a process of its own; says where. Ends on SIGINT or SIGTERM.

    Raises: InputError: no such car. LinkError: a link cannot be had.
    """
    stop = asyncio.Event()
    for sign in (signal.SIGINT, signal.SIGTERM):
        with contextlib.suppress(NotImplementedError):
            asyncio.get_running_loop().add_signal_handler(sign, stop.set)
    async with HostedCar(car, seed=seed, speed=speed) as hosted:
        for line in describe(hosted):
            say(line)
        await stop.wait()


def describe(hosted: HostedCar) -> tuple[str, ...]:
    """Where the car is to be reached, for a person."""
    return (
        f"CAN    python-can interface udp_multicast, channel {hosted.channel}, port {hosted.port}",
        f'acts   JSON lines on 127.0.0.1:{hosted.control}, for example {{"act": "key", "args": {{"position": "on"}}}}',
        "Ctrl-C ends it.",
    )
