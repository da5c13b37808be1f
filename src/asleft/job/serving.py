"""A workshop at work: ``python -m asleft.job.serving`` is its engine's process; ``serve`` runs it with the page."""

from __future__ import annotations

import argparse
import asyncio
import json
import sys
from collections.abc import Callable
from pathlib import Path

from asleft.book.shelf import load_book
from asleft.link.address import make_any_link
from asleft.model.errors import AsleftError
from asleft.ports.bus import Link
from asleft.ports.clock import Clock
from asleft.ports.messages import MessageLink
from asleft.talk.modules import ModuleMap
from asleft.talk.policy import WritesPolicy

from .absent import NoLink
from .access_program import ProgramKey
from .channel import LiveFeed
from .clock import real_clock
from .desk import Desk
from .engine import Engine, show_on
from .facts import workshop_facts
from .person import CommandPerson
from .processes import running, stop_signs, until
from .settings import BOOK
from .workshop import Workshop, read_workshop

PageCommand = Callable[[Path], list[str]]


def workshop_desk(workshop: Workshop, clock: Clock, feed: LiveFeed) -> Desk:
    """What a workshop works with. Raises InputError (link-address-bad)."""
    link: Link | MessageLink = make_any_link(workshop.link, clock) if workshop.link else NoLink()
    name, who = workshop.workshop or "workshop without a name", workshop.technician
    key = ProgramKey(Path(workshop.access_program)) if workshop.access_program else None
    book, show = load_book(BOOK), show_on(feed)
    facts = workshop_facts(workshop)
    return Desk(link, clock, CommandPerson(), book, ModuleMap(), name, who, show, key=key, facts=facts)


async def work(folder: Path) -> None:
    """The engine of the workshop in this folder, until SIGINT or SIGTERM.

    Raises: InputError: setting-bad, link-address-bad.
    """
    folder.mkdir(parents=True, exist_ok=True)
    workshop, feed, stop = read_workshop(folder), LiveFeed(), stop_signs()
    desk = workshop_desk(workshop, real_clock(), feed)
    engine = Engine(folder, desk, WritesPolicy(vehicle_open=workshop.writes_to_vehicles), feed)
    await engine.serve(stop, lambda: print(json.dumps({"ready": True}), flush=True))


async def serve(folder: Path, page: PageCommand, say: Callable[[str], None]) -> None:
    """Engine and page as two processes, until interrupted.

    Args: page: command that starts the page on a data folder. say: gets the lines for the person who started it.
    Raises: InputError: setting-bad, link-address-bad. InternalError: a process did not start.
    """
    workshop = read_workshop(folder)
    workshop_desk(workshop, real_clock(), LiveFeed())  # a setting that cannot be used is said here, not in a process
    stop = stop_signs()
    async with running([sys.executable, "-m", "asleft.job.serving", "--folder", str(folder)]) as engine:
        await engine.line()
        async with running(page(folder)) as face:
            say(f"{workshop.workshop or 'workshop'}: {await face.line()}")
            say(f"link: {workshop.link or 'none chosen yet (asleft links, then asleft settings link=…)'}")
            say("writing to real cars is " + ("OPEN" if workshop.writes_to_vehicles else "closed"))
            say("Ctrl-C ends it.")
            await until(stop, engine, face)
    say("ended; nothing is running any more")


def main() -> None:
    """Read the argument and work."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--folder", type=Path, required=True)
    try:
        asyncio.run(work(parser.parse_args().folder))
    except AsleftError as error:
        sys.exit(error.sentence())


if __name__ == "__main__":
    main()
