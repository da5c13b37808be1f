"""The bay in which a body module is coded: the old one read or not, a new one fitted, runs after one another."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

from asleft.bench.security import bench_key
from asleft.book.layouts import own_layout
from asleft.event import body as b
from asleft.job.clock import LoopClock, run_virtual
from asleft.model.frame import CanFrame
from asleft.model.module import Item, ModuleAddress, ModulePicture, Picture, PictureKind
from asleft.practice.scene import ALDRA
from asleft.record.journal import open_journal

from .bench_job import HookedPerson
from .bench_run import RunOutcome, RunScene, carry_out, opened

BODY = "body-coding-aldra"
LAYOUT = own_layout("body-aldra")
ADDRESS = next(m.address for m in ALDRA.modules if m.address.name == "body")


class Keys:
    """The bench's toy key; ``wrong``: another."""

    def __init__(self, wrong: bool = False) -> None:
        self.wrong = wrong

    async def key(self, module: ModuleAddress, level: int, seed: bytes) -> bytes:
        return bytes(len(bench_key(seed))) if self.wrong else bench_key(seed)


class Bay:
    """The car with its old module read or not, then a new one fitted; runs after one another."""

    def __init__(
        self, clock: LoopClock, folder: Path, *, read: bool = True, replace: bool = True, part: str = ""
    ) -> None:
        self.scene = RunScene(clock, folder)
        self.scene.key = Keys()
        self.read, self.replace, self.part = read, replace, part
        self.old = self.held

    @property
    def held(self) -> bytes:
        return self.scene.car.module("body").peek(0x3B30)

    async def begin(self) -> None:
        scene = self.scene
        await scene.key_on()
        scene.car.act("charger", on=True)
        with open_journal(scene.folder) as journals:
            journal = journals.create("T-1", source=scene.link, clock=scene.clock)
            opened(scene, journal)
            coding = (Item("coding", "body options", self.old.hex(), self.old.hex().upper()),)
            others = tuple(ModulePicture(m.address, True) for m in ALDRA.modules if m.address.name != "body")
            modules = (ModulePicture(ADDRESS, True, coding=coding if self.read else ()), *others)
            journal.append(b.PictureTaken(Picture(PictureKind.AS_RECEIVED, 0.0, 1.0, modules)))
            journal.give_back()
        if self.replace:
            scene.car.act("key", position="off")
            await scene.clock.sleep_until(scene.clock.now() + 12.0)
            scene.car.act("replace_body", part=self.part)
            await scene.key_on()

    async def run(self, answers: Any = None, hook: Any = lambda _q: None, **more: Any) -> RunOutcome:
        person = HookedPerson(self.scene.person(answers), hook)
        return await carry_out(self.scene, person, BODY, **more)


def play(folder: Path, doing: Callable[[Bay], Any], **how: Any) -> Any:
    async def main(clock: LoopClock) -> Any:
        bay = Bay(clock, folder, **how)
        await bay.begin()
        try:
            return await doing(bay)
        finally:
            bay.scene.car.detach()

    return run_virtual(main)


def messages(frames: list[CanFrame], identifier: int = 0x6C4) -> list[str]:
    """Messages that went to a module, put together from frames (ISO 15765-2, by hand)."""
    found: list[str] = []
    whole, length = b"", 0
    for frame in frames:
        if frame.id != identifier:
            continue
        match frame.data[0] >> 4:
            case 0:
                found.append(frame.data[1 : 1 + frame.data[0]].hex().upper())
            case 1:
                length, whole = (frame.data[0] & 15) << 8 | frame.data[1], frame.data[2:]
            case 2:
                whole += frame.data[1:]
                if len(whole) >= length:
                    found.append(whole[:length].hex().upper())
            case _:
                pass
    return found


def sent_to_body(outcome: RunOutcome) -> list[str]:
    """Messages that went to the body module."""
    return messages(outcome.frames)


def writes(outcome: RunOutcome) -> list[str]:
    return [p for p in sent_to_body(outcome) if p.startswith("2E")]


def at_frame(bay: Bay, number: int, what: Callable[[], Any]) -> None:
    """Do something the moment the ``number``-th frame of the write (1 its first frame) is on the bus, once."""
    seen: list[bool] = []
    count = 0

    def sent(frame: CanFrame) -> None:
        nonlocal count
        if frame.id != 0x6C4 or seen:
            return
        if frame.data[0] >> 4 == 1 and frame.data[2] == 0x2E:
            count = 1
        elif count and frame.data[0] >> 4 == 2:
            count += 1
        if count == number:
            seen.append(True)
            what()

    bay.scene.link.when_sent(sent)
