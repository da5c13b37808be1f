"""The engine's process on a hosted bench car: ``python -m asleft.practice.engine`` (started by the demo)."""

from __future__ import annotations

import argparse
import asyncio
import contextlib
import json
import signal
from pathlib import Path

from asleft.bench.client import Driver, LoopbackBus
from asleft.book.shelf import load_book
from asleft.job.channel import LiveFeed
from asleft.job.clock import real_clock
from asleft.job.desk import Desk
from asleft.job.engine import Engine, show_on
from asleft.job.person import CommandPerson
from asleft.job.settings import BOOK, use_folder
from asleft.link.bus_link import BusLink
from asleft.talk.policy import WritesPolicy

from .driver import BenchDriver
from .scene import ALDRA, TECHNICIAN, WORKSHOP, settings_facts


async def serve(folder: Path, channel: str, port: int, control: int, cleaned: float) -> None:
    """Run the engine until SIGINT or SIGTERM. The bus is the bench's own, and says so."""
    clock = real_clock()
    stop = asyncio.Event()
    for sign in (signal.SIGINT, signal.SIGTERM):
        with contextlib.suppress(NotImplementedError):
            asyncio.get_running_loop().add_signal_handler(sign, stop.set)
    bus = LoopbackBus(channel, port, clock)
    car = Driver(control)
    feed = LiveFeed()
    driver = BenchDriver(car, clock, cleaned)
    link, names = BusLink(bus, clock), (WORKSHOP, TECHNICIAN)
    desk = Desk(link, clock, CommandPerson(), load_book(BOOK), ALDRA, *names, show_on(feed), facts=settings_facts())
    engine = Engine(folder, desk, WritesPolicy(), feed, driver.do)
    try:
        await driver.do("key-off")
        await engine.serve(stop, lambda: print(json.dumps({"ready": True}), flush=True))
    finally:
        await car.close()
        bus.close()


def main() -> None:
    """Read the arguments and serve."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--folder", type=Path, required=True)
    parser.add_argument("--channel", required=True)
    parser.add_argument("--port", type=int, required=True)
    parser.add_argument("--control", type=int, required=True)
    parser.add_argument("--cleaned", type=float, default=1.0)
    said = parser.parse_args()
    use_folder(said.folder)
    asyncio.run(serve(said.folder, said.channel, said.port, said.control, said.cleaned))


if __name__ == "__main__":
    main()
