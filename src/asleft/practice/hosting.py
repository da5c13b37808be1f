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
    async with HostedCar(car, seed=seed, speed=speed, doip=True) as hosted:
        for line in describe(hosted):
            say(line)
        await stop.wait()


def describe(hosted: HostedCar) -> tuple[str, ...]:
    """Where the car is to be reached, for a person."""
    lines = [f"CAN    python-can interface udp_multicast, channel {hosted.channel}, port {hosted.port}"]
    if hosted.serial:
        lines.append(f"K-line serial port {hosted.serial}, 10400 baud; fast start")
    if modules := hosted.doip.get("modules"):
        told = hosted.doip
        at = f"127.0.0.1, TCP {told['tcp']}, UDP {told['udp']}, gateway {told['entity']:04X}"
        lines.append(f"DoIP   {at}; modules {', '.join(f'{name} {a:04X}' for name, a in modules.items())}")
    lines.append(f"acts   JSON lines on 127.0.0.1:{hosted.control}, such as {_ACT}")
    return (*lines, "Ctrl-C ends it.")
