"""Scenes of the exercises: a bench car, what the workshop knows of it, what hands do there."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import msgspec

from asleft.bench.security import bench_key
from asleft.book.shelf import Book, load_book
from asleft.job.desk import Desk
from asleft.job.planning import CLOSING_PROCEDURE
from asleft.job.settings import BOOK
from asleft.model.errors import Code, InputError
from asleft.model.module import ModuleAddress
from asleft.ports.bus import Link
from asleft.ports.clock import Clock
from asleft.ports.person import Person

from . import demo_book_cars as cars
from .demo_book import Play, do
from .demo_book_all import PLAYS
from .exercise import Exercise
from .scene import ALDRA, TECHNICIAN, WORKSHOP

#: Longest wait for entry conditions in practice, s.
_GATE_S = 60.0


@dataclass(frozen=True)
class Scene:
    """A play of the demo book, and the procedures the workshop's book has besides its own."""

    play: Play
    also: tuple[str, ...] = ()

    def book(self) -> Book:
        """The program's book with these procedures and the closing one: the rest stays open on the record."""
        book = load_book(BOOK)
        wanted = (self.play.procedure, CLOSING_PROCEDURE, *self.also)
        kept = tuple(p for p in book.procedures if p.procedure.id in wanted)
        return msgspec.structs.replace(book, procedures=kept)

    def desk(self, link: Link, clock: Clock, person: Person, **more: Any) -> Desk:
        """What a job of this scene is worked with."""
        return Desk(
            link, clock, person, self.book(), self.play.modules, WORKSHOP, TECHNICIAN,
            gate_timeout_s=_GATE_S, key=self.play.key, mapped=self.play.mapped, **more,
        )  # fmt: skip


_THROTTLE = Play(
    "throttle-stop-learn-aldra", "petrol", "Aldra", "1.6", 2019, "throttle-removed-refitted", ALDRA,
    options={"warm": True},
)  # fmt: skip
_IDLE = Play(
    "idle-relearn-aldra", "petrol", "Aldra", "1.6", 2019, "throttle-removed-refitted", ALDRA,
    options={"warm": True},
    acts={"warm-idle": (do("key", position="start"), do("wait", 60.0))},
)  # fmt: skip


class _BenchKey:
    """The fictional workshop's authorised access to its bench cars: a toy, and of no use on any other car."""

    async def key(self, module: ModuleAddress, level: int, seed: bytes) -> bytes:  # noqa: ARG002 - the port's shape
        """The key for a seed."""
        return bench_key(seed)


_CODING = Play(
    "body-coding-aldra", "petrol", "Aldra", "1.6", 2019, "body-module", ALDRA,
    options={"warm": True},
    acts={"do-work": (do("key", position="off"), do("replace_body", 12.0), do("charger", on=True))},
    key=_BenchKey(),
)  # fmt: skip
_BATTERY = PLAYS["battery-data-brevik"]
_LOOKED_AT = cars.modules(
    (cars.ENGINE, ()), (cars.BATTERY, ()), (cars.STABILITY, ()), (cars.ANGLE, ()), (cars.DOOR, ()), (cars.LAMPS, ()),
    (cars.PARKING, ()),
)  # fmt: skip
_FLAT = replace(
    _BATTERY,
    modules=_LOOKED_AT,
    acts={
        **_BATTERY.acts,
        "do-work": (*_BATTERY.acts["do-work"], do("charger", on=True)),
        "start-and-idle": (do("charger", on=False), *_BATTERY.acts["start-and-idle"]),
        "stop-and-key-on": (*_BATTERY.acts["stop-and-key-on"], do("wait", 30.0)),
    },
)

#: By name.
SCENES: dict[str, Scene] = {
    "throttle-cleaned-aldra": Scene(_THROTTLE),
    "idle-relearn-aldra": Scene(_IDLE, also=("throttle-stop-learn-aldra",)),
    "body-coding-aldra": Scene(_CODING),
    "battery-flat-brevik": Scene(_FLAT),
    **{name: Scene(play) for name, play in PLAYS.items()},
}


def scene_of(exercise: Exercise) -> Scene:
    """The scene of an exercise. Raises InputError: there is none of this name."""
    if exercise.scene not in SCENES:
        raise InputError(Code.ACT_UNKNOWN, f"no scene {exercise.scene!r}; there are {', '.join(SCENES)}")
    return SCENES[exercise.scene]
