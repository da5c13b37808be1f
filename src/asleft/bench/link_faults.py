"""Faults of link and bus by name and size, for a car on an in-loop bus; each can be taken away again.

    undo = LINK_FAULTS["frames lost"].apply(scene, 0.05)
    ...
    undo()

Several at once: those of the bus's frames (lost, doubled, delayed, corrupted, destroyed) share one set of rates.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from asleft.model.frame import CanFrame
from asleft.ports.clock import Clock

from .bus import InLoopBus
from .bus_faults import Faults, Talker, background_load
from .module import ControlModule
from .other_tester import OtherTester

Undo = Callable[[], None]
#: Services that change something: 11 restart, 14 clear, 2E and 3B write, 2F and 30 control, 31 routine.
_EFFECTS = frozenset({0x11, 0x14, 0x2E, 0x2F, 0x30, 0x31, 0x3B})
CLEAR_ALL = bytes.fromhex("14FFFFFF")


@dataclass(frozen=True)
class Scene:
    """What a link fault acts on.

    Attributes:
        bus, clock: the bus at the plug.
        modules: the car's, the one concerned first.
        seed: of chance.
    """

    bus: InLoopBus
    clock: Clock
    modules: Sequence[ControlModule]
    seed: int = 0


@dataclass(frozen=True)
class LinkFault:
    """One fault.

    Attributes:
        text: what happens.
        unit: of the size.
        usual: a size that shows.
        apply: (scene, size) -> the way to take it away.
    """

    text: str
    unit: str
    usual: float
    apply: Callable[[Scene, float], Undo]


def _rates(**rates: float) -> Callable[[Scene, float], Undo]:
    """A fault of the bus's frames: the named rate becomes the size; other rates stay."""
    (name,) = rates

    def apply(scene: Scene, size: float) -> Undo:
        old = scene.bus.faults
        scene.bus.faults = replace(old, seed=scene.seed, **{name: size})  # pyright: ignore[reportArgumentType]

        def undo() -> None:
            scene.bus.faults = replace(scene.bus.faults, **{name: 0.0})  # pyright: ignore[reportArgumentType]

        return undo

    return apply


def _delayed(scene: Scene, size: float) -> Undo:
    scene.bus.faults = replace(scene.bus.faults, seed=scene.seed, delayed=0.3, delay_s=size)

    def undo() -> None:
        scene.bus.faults = replace(scene.bus.faults, delayed=0.0)

    return undo


def _wrong_rate(scene: Scene, size: float) -> Undo:
    """A node at another bit rate breaks every frame off, until it is taken off."""
    scene.bus.faults = replace(scene.bus.faults, destroyed=1.0)

    def undo() -> None:
        scene.bus.faults = replace(scene.bus.faults, destroyed=0.0)
        for module in scene.modules:
            scene.bus.node(module.name).recover()

    timer = scene.clock.call_at(scene.clock.now() + size, undo)

    def now() -> None:
        timer.cancel()
        undo()

    return now


def _bus_off(scene: Scene, size: float) -> Undo:
    name = scene.modules[0].name
    scene.bus.set_bus_off(name)

    def back() -> None:
        scene.bus.node(name).recover()

    timer = scene.clock.call_at(scene.clock.now() + size, back)

    def undo() -> None:
        timer.cancel()
        back()

    return undo


def _flood(scene: Scene, size: float) -> Undo:
    talker = Talker(scene.bus, scene.clock, "flood", period_s=0.0, identifiers=(0x000,), seed=scene.seed)
    timer = scene.clock.call_at(scene.clock.now() + size, talker.stop)

    def undo() -> None:
        timer.cancel()
        talker.stop()

    return undo


def _load(scene: Scene, size: float) -> Undo:
    return background_load(scene.bus, scene.clock, size, bitrate=scene.bus.bitrate, seed=scene.seed).stop


def _other_clears(scene: Scene, size: float) -> Undo:
    return OtherTester(scene.bus, scene.clock, scene.modules[0].address, [(size, CLEAR_ALL)]).unplug


def _second_tester(scene: Scene, size: float) -> Undo:
    request = [(0.0, bytes.fromhex("3E00"))]
    return OtherTester(scene.bus, scene.clock, scene.modules[0].address, request, every_s=size).unplug


def _busy(scene: Scene, size: float) -> Undo:
    scene.modules[0].be_busy(size)
    return lambda: scene.modules[0].be_busy(0.0)


def _slow(scene: Scene, size: float) -> Undo:
    scene.modules[0].be_slow(size)
    return lambda: scene.modules[0].be_slow(0.0)


def _flow(scene: Scene, size: float) -> Undo:
    timing = scene.modules[0].timing
    scene.modules[0].ask_flow(round(size), 1)
    return lambda: scene.modules[0].ask_flow(timing.stmin, timing.block_size)


def _tester_present_missed(scene: Scene, size: float) -> Undo:
    """Only 3E is lost, with this share."""
    scene.bus.faults = Faults(scene.seed, lost=size, only=lambda frame: frame.data[1:2] == b"\x3e")

    def undo() -> None:
        scene.bus.faults = Faults(scene.seed)

    return undo


def _adapter_drops(scene: Scene, size: float) -> Undo:
    """When a request that changes something has gone out, the tester's adapter is dead for a while."""
    requests = {module.address.request for module in scene.modules}
    responses = {module.address.response for module in scene.modules}

    def hear(frame: CanFrame) -> None:
        kind = frame.data[0] >> 4 if frame.data else 9
        if frame.id in requests and kind in {0, 1} and frame.data[1 + kind] in _EFFECTS:
            watch.leave()
            scene.bus.faults = Faults(scene.seed, lost=1.0, only=lambda other: other.id in requests | responses)
            scene.clock.call_at(scene.clock.now() + size, undo)

    def undo() -> None:
        watch.leave()
        scene.bus.faults = Faults(scene.seed)

    watch = scene.bus.join("adapter watch", hear)
    return undo


LINK_FAULTS: dict[str, LinkFault] = {
    "frames lost": LinkFault("receivers miss frames", "share", 0.1, _rates(lost=0.0)),
    "frames doubled": LinkFault("frames are heard twice", "share", 0.3, _rates(doubled=0.0)),
    "frames delayed": LinkFault("three in ten frames come late, out of order", "s", 0.05, _delayed),
    "frames corrupted": LinkFault("one byte is changed behind the CRC", "share", 0.1, _rates(corrupted=0.0)),
    "terminator at the plug": LinkFault(
        "reflections break frames off; they are repeated", "share", 0.4, _rates(destroyed=0.0)
    ),
    "wrong bit rate": LinkFault("a tester at another bit rate breaks every frame off", "s", 0.5, _wrong_rate),
    "module bus off": LinkFault("the module takes itself off the bus", "s", 1.0, _bus_off),
    "flooding node": LinkFault("a node sends the highest priority without pause", "s", 0.5, _flood),
    "bus load": LinkFault("other traffic takes the bus", "share", 0.9, _load),
    "other tester clears codes": LinkFault("another tester clears the codes after this long", "s", 0.2, _other_clears),
    "second tester": LinkFault("another tester asks the same module all the time", "s", 0.02, _second_tester),
    "module busy": LinkFault("every request is refused with busy", "s", 1.0, _busy),
    "slow answers": LinkFault("answers come later, with response pending before", "s", 0.5, _slow),
    "flow control wrong": LinkFault(
        "flow control asks for this separation time (raw byte), block by block", "byte", 0xFA, _flow
    ),
    "tester present missed": LinkFault("tester present does not arrive", "share", 1.0, _tester_present_missed),
    "adapter drops at write": LinkFault(
        "the adapter is dead after the first request that changes something", "s", 2.0, _adapter_drops
    ),
}
