"""Fault against the same car without it: scenarios that any petrol bench car can play, and what they saw.

A scenario plays a `Watch` and writes what it saw into ``seen``; `effect` plays it with and without the fault.
"""

from __future__ import annotations

import statistics
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

from asleft.bench.bus import InLoopBus
from asleft.bench.clock import StepClock
from asleft.bench.kline import KLine
from asleft.bench.transport import IsoTpNode, TransportSettings

Observed = dict[str, Any]

#: Other than the typical size, to save time.
SIZES = {"modules fall asleep": 20.0}


@dataclass(frozen=True)
class Kind:
    """A kind of car to watch.

    Attributes: make: makes one. coded: modules and identifiers whose content is looked at. other: a module besides the
        engine module that is asked over the bus. pedal: parameter that follows the foot.
    """

    make: Callable[[], Any]
    coded: tuple[tuple[str, int], ...] = ()
    other: str = "brakes"
    pedal: int = 0x49
    on_can: bool = True
    sound: dict[str, Observed] = field(default_factory=dict)


class Watch:
    """A car on its bus with a tester that counts, and what was observed of it."""

    def __init__(self, kind: Kind, fault: str | None) -> None:
        self.kind = kind
        self.clock = StepClock()
        self.bus = InLoopBus(self.clock)
        self.line = KLine(self.clock)
        self.car = kind.make()
        self.car.attach(self.bus, self.clock, self.line)
        self.answers: list[tuple[float, bytes]] = []
        self.frames: list[bytes] = []
        self.tester = IsoTpNode(
            self.bus, self.clock, TransportSettings(0x7E8, 0x7E0), self._hear, name="tester", hears=lambda: True
        )
        self.bus.join("listener", lambda frame: self.frames.append(frame.data) if frame.id == 0x7E8 else None)
        self.fault = fault
        self.seen: Observed = {}

    def _hear(self, answer: bytes, _functional: bool) -> None:
        self.answers.append((self.clock.now(), answer))

    def set(self) -> None:
        """Set the fault, at the moment that the scenario chooses."""
        if self.fault is not None:
            self.car.act("fault", name=self.fault, size=SIZES.get(self.fault))

    def wait(self, seconds: float) -> None:
        self.clock.run_until(self.clock.now() + seconds)

    def act(self, what: str, seconds: float = 0.0, /, **args: object) -> None:
        self.car.act(what, **args)
        self.wait(seconds)

    def ask(self, request: str) -> bytes:
        return self.car.engine.handle(bytes.fromhex(request)) or b""

    def pid(self, pid: int) -> int:
        return int.from_bytes(self.ask(f"01{pid:02X}")[2:], "big")

    def mean(self, pid: int, seconds: float) -> float:
        values: list[int] = []
        for _ in range(round(seconds * 2)):
            self.wait(0.5)
            values.append(self.pid(pid))
        self.seen[f"{pid:02X} scatter"] = statistics.pstdev(values)
        self.seen[f"{pid:02X} distinct"] = len(set(values))
        return statistics.mean(values)


def engine_off(w: Watch) -> None:
    """Key on, engine off: temperatures, supply, level, coding, codes."""
    w.set()
    w.car.act("key", position="on")
    awake = 0
    for _ in range(140):
        w.wait(0.1)
        awake += w.car.engine.awake
    w.seen["awake for"] = awake / 10.0
    if w.kind.on_can:
        w.seen["key-ons"] = int.from_bytes(w.car.engine.peek(0x4C28)[2:], "big")
    w.seen |= {f"{pid:02X}": w.mean(pid, 3.0) for pid in (0x05, 0x0B, 0x0F, 0x11, 0x2F, 0x42, w.kind.pedal)}
    w.seen["running"] = w.car.powertrain.running
    for module, did in w.kind.coded:
        w.seen[f"{module} {did:04X}"] = w.car.module(module).peek(did).hex()
    w.seen["codes"] = {f"{code:06X}" for module in w.car.modules for code in module.codes.matching(0x01)}
    w.seen["awake"] = w.car.engine.awake


def idle(w: Watch) -> None:
    """Started warm, left to idle for one and a half minutes."""
    w.act("key", 3.0, position="on")
    w.set()
    w.act("key", 60.0, position="start")
    w.seen |= {f"{pid:02X}": w.mean(pid, 8.0) for pid in (0x0C, 0x2E, 0x42)}
    w.seen["07"] = w.pid(0x07)
    w.seen["target"] = w.car.powertrain.idle.target_rpm
    w.seen["codes"] = {f"{code:06X}" for module in w.car.modules for code in module.codes.matching(0x01)}


def warm_up(w: Watch) -> None:
    """Four minutes of idle from half warm."""
    w.act("key", 3.0, position="on")
    w.car.powertrain.temperatures.coolant_c = 60.0
    w.set()
    w.pid(0x05)
    w.act("key", 250.0, position="start")
    w.seen["05"] = w.pid(0x05)


def press(w: Watch) -> None:
    """Key on, pedal pressed for five seconds, released; the pedal sensor ten times a second."""
    w.set()
    w.act("key", 4.0, position="on")
    w.car.act("pedal", percent=100.0)
    trace: list[int] = []
    for tick in range(120):
        if tick == 50:
            w.car.act("pedal", percent=0.0)
        w.wait(0.1)
        trace.append(w.pid(w.kind.pedal))
    w.seen["pedal"] = trace


def learn(w: Watch) -> None:
    """The lower-stop learn, to its end."""
    w.act("key", 3.0, position="on")
    w.set()
    w.ask("1003")
    w.ask("31015A31")
    w.wait(4.0)
    w.ask("3E00")
    w.wait(4.0)
    w.seen["learn"] = w.ask("31035A31")[4:6].hex()


def overruns(w: Watch) -> None:
    """The tooth-error learn: three times to the cut and down again; its end, and the misfires counted at idle."""
    w.act("key", 3.0, position="on")
    w.act("key", 40.0, position="start")
    w.set()
    before = w.ask("06A3")[-6:-4]
    w.wait(60.0)
    w.seen["counted"] = int.from_bytes(w.ask("06A3")[-6:-4], "big") - int.from_bytes(before, "big")
    w.ask("1003")
    w.seen["start"] = w.ask("31015A34").hex()
    for _ in range(3):
        w.act("pedal", 3.0, percent=45.0)
        w.ask("3E00")
        w.act("pedal", 4.5, percent=0.0)
        w.ask("3E00")
    w.seen["teeth"] = w.ask("31035A34")[4:7].hex()


def asleep(w: Watch) -> None:
    """Forty seconds with the key on."""
    w.act("key", 3.0, position="on")
    w.set()
    w.wait(40.0)
    w.seen["awake"] = w.car.engine.awake


def talk(w: Watch) -> None:
    """A hundred requests over the bus, one VIN, one routine, with their times and answers."""
    w.act("key", 3.0, position="on")
    w.set()
    w.wait(6.0)
    times: list[float] = []
    for number in range(100):
        before, start = len(w.answers), w.clock.now()
        w.tester.send(bytes.fromhex("01050C0D"), functional=False)
        w.wait(0.06)
        times.append(w.answers[before][0] - start if len(w.answers) > before else 9.0)
        if number == 50:
            w.tester.send(bytes.fromhex("22F190"), functional=False)
            w.wait(0.3)
    w.seen["times"] = statistics.mean(times)
    w.seen["silent"] = sum(value == 9.0 for value in times)
    w.seen["answers"] = [answer for _, answer in w.answers]
    w.seen["frames"] = len(w.frames)
    w.seen["repeats"] = w.bus.counts.destroyed
    w.seen["warm-ups"] = w.pid(0x30)
    other = w.car.module(w.kind.other).address
    heard: list[bytes] = []
    node = IsoTpNode(
        w.bus,
        w.clock,
        TransportSettings(other.response, other.request, other.extended),
        lambda a, _f: heard.append(a),
        name="second",
    )
    node.send(bytes.fromhex("22F190"), functional=False)
    w.wait(0.5)
    w.seen["other answers"] = bool(heard)
    before = len(w.answers)
    w.tester.send(bytes.fromhex("31015A31"), functional=False)
    w.wait(1.0)
    w.seen["routine answered"] = len(w.answers) > before


Scenario = Callable[[Watch], None]


def effect(kind: Kind, fault: str, scenario: Scenario, key: str, least: float | None) -> Watch:
    """Assert that a fault changes what a scenario saw under ``key``, by ``least`` at least (None: at all)."""
    watch = Watch(kind, fault)
    scenario(watch)
    before, after = sound(kind, scenario)[key], watch.seen[key]
    if least is None:
        assert after != before
    else:
        assert abs(after - before) >= least, f"{before} against {after}"
    return watch


def sound(kind: Kind, scenario: Scenario) -> Observed:
    """What a scenario saw on the sound car; played once."""
    name = scenario.__name__
    if name not in kind.sound:
        watch = Watch(kind, None)
        scenario(watch)
        kind.sound[name] = watch.seen
    return kind.sound[name]


#: Faults of any of our petrol cars: scenario, what must differ, and by how much at least (None: at all).
COMMON: dict[str, tuple[Scenario, str, float | None]] = {
    "engine cold": (engine_off, "05", 40.0),
    "load left on": (engine_off, "42", 100.0),
    "phone charger on": (engine_off, "42", 12.0),
    "air conditioning on": (idle, "target", 60.0),
    "engine starts itself": (engine_off, "running", None),
    "pedal held by the mat": (press, "pedal", None),
    "fuel low": (engine_off, "2F", 40.0),
    "hand late": (press, "pedal", None),
    "hand early": (press, "pedal", None),
    "press short": (press, "pedal", None),
    "press partial": (press, "pedal", None),
    "released late": (press, "pedal", None),
    "one more press": (press, "pedal", None),
    "key bounced": (engine_off, "key-ons", 1.0),
    "key one position short": (engine_off, "awake", None),
    "coolant frozen": (warm_up, "05", 10.0),
    "engine speed frozen": (idle, "0C distinct", 5.0),
    "plate sensor noisy": (engine_off, "11 scatter", 0.8),
    "manifold pressure offset": (engine_off, "0B", 5.0),
    "intake temperature offset": (engine_off, "0F", 10.0),
    "coolant sensor offset": (engine_off, "05", 13.0),
    "air meter reads": (idle, "07", 3.0),
    "plate sensors disagree": (engine_off, "codes", None),
    "pedal sensors disagree": (engine_off, "codes", None),
    "pedal sensor noisy": (engine_off, "49 scatter", 0.8),
    "pedal bracket bent": (engine_off, "49", 10.0),
    "damper loose": (overruns, "teeth", None),
    "wrong target wheel": (overruns, "counted", 20.0),
    "fan cycles": (idle, "42", 20.0),
    "supply dips while learning": (learn, "learn", None),
    "charger ripple": (engine_off, "42 scatter", 80.0),
    "battery nearly flat": (engine_off, "42", 300.0),
    "bad contact": (engine_off, "42", 200.0),
    "alternator dead": (idle, "42", 1000.0),
    "modules fall asleep": (asleep, "awake", None),
    "intake leak": (idle, "07", 2.0),
    "purge valve stuck open": (idle, "2E", 40.0),
    "thermostat stuck open": (warm_up, "05", 3.0),
    "misfire": (idle, "0C scatter", 20.0),
    "engine module busy": (talk, "answers", None),
    "frames lost": (talk, "silent", 1.0),
    "frames doubled": (talk, "frames", 3.0),
    "frames late": (talk, "times", 0.0005),
    "frames changed": (talk, "answers", None),
    "error frames": (talk, "repeats", 20.0),
    "gateway blocks": (talk, "other answers", None),
    "bus loaded": (talk, "times", 0.0001),
    "node floods": (talk, "silent", 90.0),
    "second tester": (talk, "frames", 20.0),
    "other tester clears": (talk, "warm-ups", 20.0),
    "adapter drops at write": (talk, "routine answered", None),
    "engine module bus off": (talk, "silent", 90.0),
}
