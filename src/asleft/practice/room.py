"""A live exercise's process: ``python -m asleft.practice.room`` (started by the page).

At speed 1 the bench car is a process of its own and time is real, as in the demo. Faster, car and engine share this
process in paced virtual time. It ends with its standard input, so that it never outlives the page that started it.
"""

from __future__ import annotations

import argparse
import asyncio
import contextlib
import json
import sys
from collections.abc import AsyncGenerator
from contextlib import asynccontextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import msgspec

from asleft.bench.bus import InLoopBus
from asleft.bench.car import CarBase
from asleft.bench.client import HostedCar, LoopbackBus
from asleft.bench.garage import make_car
from asleft.job.channel import LiveFeed
from asleft.job.client import JobClient
from asleft.job.clock import LoopClock, real_clock
from asleft.job.engine import Engine, show_on
from asleft.job.person import CommandPerson
from asleft.job.processes import stop_signs
from asleft.link.bus_link import BusLink
from asleft.model.errors import AsleftError, Code, InputError
from asleft.talk.policy import WritesPolicy

from .driver import CarActs, LocalActs
from .exercise import Exercise, Tool, load_exercise
from .hands import BEGIN, Do, SceneHands
from .kept import Kept, read_kept, write_kept
from .levels import Level, read_level
from .paced import run_paced
from .players import hidden_sizes, readings_of, script_for, ticket
from .remarks import Looked
from .scenes import Scene, scene_of
from .scoring import Grading

#: Before a tool's number in an act that the page asks for.
TOOL = "tool:"
#: How often it is looked whether the job is closed, s at the car.
_LOOK_S = 1.0


@dataclass(frozen=True)
class RoomRequest:
    """What is to be practised: data folder, exercise, variant, level, seconds at the car in a real one."""

    folder: Path
    exercise: str
    seed: int = 1
    level: Level = Level.FOLLOW
    speed: float = 1.0


class Room:
    """One exercise on one car.

    Args: request: what is practised. car: its acts. clock: of the job.
    """

    def __init__(self, request: RoomRequest, car: CarActs, clock: LoopClock) -> None:
        self.exercise: Exercise = load_exercise(request.exercise)
        self.scene: Scene = scene_of(self.exercise)
        self._request = request
        self._car = car
        self._clock = clock
        self._sizes = hidden_sizes(self.exercise, request.seed)
        self._hands = SceneHands(script_for(self.exercise, self.scene, self._sizes), car, clock)
        self.job = ""

    async def begin(self, job: str) -> None:
        """The job is open: keep what is true of it."""
        self.job = job
        await self.note()

    async def prepare(self) -> None:
        """What happened to the car before it came."""
        await self._hands.do(BEGIN)

    async def act(self, act: str) -> None:
        """Do what a question asks for, or use a tool. Raises InputError: no such tool; what the car refuses."""
        if act.startswith(TOOL):
            await self._use(self._tool(act.removeprefix(TOOL)))
        else:
            await self._hands.do(act)

    async def note(self, looked: tuple[Looked, ...] = ()) -> None:
        """Keep what the instruments show now, and what was looked at."""
        request = self._request
        readings = await readings_of(self.exercise, self._car)
        truth = Grading(request.exercise, request.seed, request.level.value, dict(self._sizes), readings)
        before = Kept(truth, request.speed)
        with contextlib.suppress(InputError):
            before = read_kept(request.folder, self.job)
        kept = msgspec.structs.replace(before, truth=truth, looked=(*before.looked, *looked), asked=())
        write_kept(request.folder, self.job, kept)

    def _tool(self, number: str) -> Tool:
        if not number.isdigit() or int(number) >= len(self.exercise.tools):
            raise InputError(Code.ACT_UNKNOWN, f"this exercise has no tool {number}")
        return self.exercise.tools[int(number)]

    async def _use(self, tool: Tool) -> None:
        await self._hands.all_of(tuple(Do(one.act, one.after_s, one.args) for one in tool.lines))
        seen = tool.tells.format(size=next(iter(self._sizes.values()), ""))
        if tool.act:
            given: Any = await self._car.act(tool.act)
            value = given[tool.pick] if tool.pick else given
            seen = f"{value + 0.0 or 0.0:g} {tool.unit}".strip() if isinstance(value, float) else f"{value}"
        await self.note((Looked(round(self._clock.now(), 1), tool.words, seen or "done"),))


@asynccontextmanager
async def _bench(
    scene: Scene, exercise: Exercise, request: RoomRequest, clock: LoopClock
) -> AsyncGenerator[tuple[Any, CarActs, str]]:
    """Bus, acts and VIN of the car: hosted at speed 1, in this process when faster."""
    options = {**scene.play.options, **exercise.options}
    car = make_car(scene.play.car, request.seed, options)
    assert isinstance(car, CarBase)
    vin = str(getattr(car, "vin", ""))
    if request.speed == 1.0:
        async with HostedCar(scene.play.car, seed=request.seed, options=options) as hosted:
            bus = LoopbackBus(hosted.channel, hosted.port, clock)
            try:
                yield bus, hosted.driver, vin
            finally:
                bus.close()
        return
    bus = InLoopBus(clock)
    car.attach(bus, clock)
    try:
        yield bus, LocalActs(car), vin
    finally:
        car.detach()


async def serve(request: RoomRequest, clock: LoopClock) -> None:
    """Open the exercise's job and work it until told to end. Raises: AsleftError, said in one line."""
    exercise = load_exercise(request.exercise)
    scene = scene_of(exercise)
    stop, feed = stop_signs(), LiveFeed()
    async with _bench(scene, exercise, request, clock) as (bus, acts, vin):
        room = Room(request, acts, clock)
        await room.prepare()
        desk = scene.desk(BusLink(bus, clock), clock, CommandPerson(), show=show_on(feed))
        engine = Engine(request.folder, desk, WritesPolicy(), feed, room.act)
        opening = asyncio.Event()
        serving = asyncio.create_task(engine.serve(stop, opening.set))
        ending = asyncio.create_task(_with_input(stop))
        await asyncio.wait((asyncio.create_task(opening.wait()), serving), return_when=asyncio.FIRST_COMPLETED)
        if not serving.done():
            await room.begin(await JobClient(request.folder).open_job(ticket(exercise, scene, vin)))
            print(json.dumps({"job": room.job}), flush=True)
            await _noted(room, request, stop)
        await serving
        ending.cancel()


async def _noted(room: Room, request: RoomRequest, stop: asyncio.Event) -> None:
    """Follow the job until it is closed, keeping what the instruments show at its end; then wait."""
    client = JobClient(request.folder)
    while not stop.is_set():
        if client.watch(room.job).state.closed is not None:
            await room.note()
            await stop.wait()
        with contextlib.suppress(TimeoutError):
            await asyncio.wait_for(stop.wait(), _LOOK_S)
    await room.note()


async def _with_input(stop: asyncio.Event) -> None:
    """Stop when standard input ends."""
    loop = asyncio.get_running_loop()
    reader = asyncio.StreamReader()
    await loop.connect_read_pipe(lambda: asyncio.StreamReaderProtocol(reader), sys.stdin)
    while await reader.readline():
        pass
    stop.set()


def main() -> None:
    """Read the arguments and serve."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--folder", type=Path, required=True)
    parser.add_argument("--exercise", required=True)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--level", default=Level.FOLLOW.value)
    parser.add_argument("--speed", type=float, default=1.0)
    said = parser.parse_args()
    try:
        request = RoomRequest(said.folder, said.exercise, said.seed, read_level(said.level), said.speed)
        if request.speed == 1.0:
            asyncio.run(_real(request))
        else:
            run_paced(request.speed, lambda clock: serve(request, clock))
    except AsleftError as error:
        print(json.dumps({"error": error.sentence()}), flush=True)
        sys.exit(1)


async def _real(request: RoomRequest) -> None:
    await serve(request, real_clock())


if __name__ == "__main__":
    main()
