"""A bench car as a process of its own, in real time::

    python -m asleft.bench.host petrol --seed 7

It prints one JSON line when it is ready::

    {"ready": true, "car": "petrol", "pid": 4711, "channel": "239.74.163.2", "port": 40123, "control": 40999}

and stops on SIGTERM, SIGINT, or when its standard input, if a pipe, is closed (whoever started it is gone). With
``serial``, the path of its K-line's serial port, for a car that has one, and ``doip`` when asked for.
"""

from __future__ import annotations

import argparse
import asyncio
import json
import os
import signal
import stat
import sys
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

from asleft.model.errors import AsleftError

from .clock import HostClock
from .control import ControlServer
from .garage import CARS, make_car
from .links import CarLinks
from .loopback import CHANNEL, LoopbackBus, free_port

_STDIN = 0


@dataclass(frozen=True)
class HostSettings:
    """What a host needs to know.

    Attributes:
        car: name in the garage. seed: which car of its kind. options: further arguments of the car.
        channel, port: of the bus; port 0 takes a free one.
        speed: 1 is real time.
        truth: the control socket answers what only grading may see.
        doip: serve DoIP too.
    """

    car: str
    seed: int = 0
    options: dict[str, Any] = field(default_factory=dict[str, Any])
    channel: str = CHANNEL
    port: int = 0
    speed: float = 1.0
    truth: bool = False
    doip: bool = False


async def serve(settings: HostSettings) -> None:
    """Host a car until asked to stop. Raises AsleftError: unknown car, no bus."""
    stop = asyncio.Event()
    loop = asyncio.get_running_loop()
    for number in (signal.SIGTERM, signal.SIGINT):
        loop.add_signal_handler(number, stop.set)
    watch = await _watch_parent(stop)
    car = make_car(settings.car, settings.seed, settings.options)
    clock = HostClock(settings.speed)
    port = settings.port or free_port()
    bus = LoopbackBus(settings.channel, port, clock)
    links = CarLinks(car, clock, bus)
    control = ControlServer(car, truth=settings.truth)
    try:
        ready = {
            "ready": True,
            "car": car.name,
            "pid": os.getpid(),
            "channel": settings.channel,
            "port": port,
            **await links.open(doip=settings.doip),
            "control": await control.open(),
        }
        print(json.dumps(ready), flush=True)
        await stop.wait()
    finally:
        await control.close()
        await links.close()
        bus.close()
        if watch is not None:
            watch.close()


async def _watch_parent(stop: asyncio.Event) -> asyncio.ReadTransport | None:
    """Stop when standard input ends, if it is a pipe that a parent holds."""
    try:
        if not stat.S_ISFIFO(os.fstat(_STDIN).st_mode):
            return None
    except OSError:
        return None  # started without any standard input

    class _Watch(asyncio.Protocol):
        def connection_lost(self, exc: Exception | None) -> None:  # noqa: ARG002
            stop.set()

    transport, _ = await asyncio.get_running_loop().connect_read_pipe(_Watch, os.fdopen(_STDIN, "rb", closefd=False))
    return transport


def _parse(arguments: Sequence[str] | None) -> HostSettings:
    parser = argparse.ArgumentParser(prog="python -m asleft.bench.host", description="Host a bench car.")
    parser.add_argument("car", help=f"one of {', '.join(CARS)}")
    parser.add_argument("--seed", type=int, default=0, help="which car of its kind")
    parser.add_argument("--options", type=json.loads, default={}, help="further arguments of the car, as JSON")
    parser.add_argument("--channel", default=CHANNEL, help="multicast group of the bus")
    parser.add_argument("--port", type=int, default=0, help="port of the bus; 0: a free one")
    parser.add_argument("--speed", type=float, default=1.0, help="1: real time")
    parser.add_argument("--truth", action="store_true", help="answer grading questions on the control socket")
    parser.add_argument("--doip", action="store_true", help="serve DoIP on loopback too")
    return HostSettings(**vars(parser.parse_args(arguments)))


def main(arguments: Sequence[str] | None = None) -> int:
    """Command line; exit code 0 after a clean stop, 2 when the car or its bus cannot be had."""
    try:
        asyncio.run(serve(_parse(arguments)))
    except AsleftError as error:
        print(json.dumps({"ready": False, "error": error.sentence(), "code": error.code.value}), flush=True)
        return 2
    return 0


if __name__ == "__main__":
    sys.exit(main())
