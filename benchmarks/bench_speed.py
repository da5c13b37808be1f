"""How fast the bench runs, as a ratio of simulated time to processor time.

Run: .venv/bin/python benchmarks/bench_speed.py [--json]
Aimed at: the petrol car under test 200 times real time, 48 modules with physics and no traffic 60 times, an as-found
reading of 48 modules in virtual time under one second.
"""

from __future__ import annotations

import argparse
import json
import time
from collections.abc import Callable

from asleft.bench.address import Address
from asleft.bench.bus import InLoopBus
from asleft.bench.bus_faults import background_load
from asleft.bench.cars.petrol import PetrolCar
from asleft.bench.clock import StepClock
from asleft.bench.identifiers import number, text
from asleft.bench.module import ControlModule
from asleft.bench.transport import IsoTpNode, TransportSettings
from asleft.bench.trouble_memory import TroubleCode

MODULES = 48


class Asker:
    """Asks one module again and again, next request when the answer is there."""

    def __init__(self, bus: InLoopBus, clock: StepClock, address: Address, requests: list[str], rounds: int) -> None:
        self.todo = [bytes.fromhex(text_) for _ in range(rounds) for text_ in requests]
        self.answers = 0
        settings = TransportSettings(address.response, address.request, address.extended)
        self.node = IsoTpNode(bus, clock, settings, self.heard, name=f"tester {address.request:X}")

    def heard(self, answer: bytes, _functional: bool) -> None:
        if answer[:1] == b"\x7f" and answer[2:] == b"\x78":
            return
        self.answers += 1
        self.next()

    def next(self) -> None:
        if self.todo:
            self.node.send(self.todo.pop(0))


def ratio(simulated_s: float, run: Callable[[], None]) -> float:
    """Simulated over real time."""
    start = time.process_time()
    run()
    return simulated_s / (time.process_time() - start)


def running_petrol(clock: StepClock, bus: InLoopBus) -> PetrolCar:
    car = PetrolCar(seed=1, warm=True)
    car.attach(bus, clock)
    car.act("key", position="on")
    clock.run_until(2.0)
    car.act("key", position="start")
    clock.run_until(10.0)
    return car


def petrol_idle(seconds: float = 300.0) -> float:
    """Petrol car idling, nobody asks."""
    clock = StepClock()
    running_petrol(clock, InLoopBus(clock))
    return ratio(seconds, lambda: clock.run_until(clock.now() + seconds))


def petrol_under_test(per_second: float, load: float = 0.0, seconds: float = 120.0) -> float:
    """Petrol car idling, so many requests a second of identifiers, OBD values and codes, part of the bus taken."""
    clock = StepClock()
    bus = InLoopBus(clock)
    running_petrol(clock, bus)
    if load:
        background_load(bus, clock, load)
    answers: list[bytes] = []
    tester = IsoTpNode(bus, clock, TransportSettings(0x7E8, 0x7E0), lambda a, _f: answers.append(a), name="tester")
    requests = [bytes.fromhex(text_) for text_ in ("010C0D05", "22F190", "01110B", "1902FF")]

    def ask(count: int = 0) -> None:
        tester.send(requests[count % len(requests)])
        clock.call_at(clock.now() + 1.0 / per_second, lambda: ask(count + 1))

    ask()
    result = ratio(seconds, lambda: clock.run_until(clock.now() + seconds))
    if len(answers) < seconds * per_second - 2:
        raise SystemExit(f"only {len(answers)} answers")
    return result


class Fleet:
    """The petrol car's physics with 48 modules on its bus."""

    def __init__(self) -> None:
        self.clock = StepClock()
        self.bus = InLoopBus(self.clock)
        self.car = running_petrol(self.clock, self.bus)
        train = self.car.powertrain
        self.addresses: list[Address] = []
        self.more: list[ControlModule] = []
        for index in range(MODULES - len(self.car.modules)):
            address = Address.fixed(0x20 + index)
            low = lambda: train.module_v < 9.0  # noqa: E731
            module = ControlModule(
                f"m{index}",
                address,
                identifiers=[text(0xF190, "VIN", self.car.vin), text(0xF187, "part", f"P-{index}")]
                + [number(0x0100 + item, "volts", lambda: train.module_v, scale=0.01) for item in range(10)],
                codes=[TroubleCode(0x900000 + 256 * code, "supply", low) for code in range(8)],
            )
            module.attach(self.bus, self.clock, self.car.advance)
            module.power_on()
            self.addresses.append(address)
            self.more.append(module)
        self.tick()
        self.clock.run_until(self.clock.now() + 1.0)

    def tick(self) -> None:
        for module in self.more:
            module.poll()
        self.clock.call_at(self.clock.now() + 0.1, self.tick)


def many_modules(seconds: float = 120.0) -> float:
    """48 modules with physics, eight watched codes each, no traffic."""
    fleet = Fleet()
    return ratio(seconds, lambda: fleet.clock.run_until(fleet.clock.now() + seconds))


def as_found() -> float:
    """Seconds of real time to read VIN, part and codes of 48 modules, all at once."""
    fleet = Fleet()
    addresses = fleet.addresses + [module.address for module in fleet.car.modules]
    askers = [Asker(fleet.bus, fleet.clock, where, ["22F190", "22F187", "1902FF", "190A"], 1) for where in addresses]
    start = time.process_time()
    for asker in askers:
        asker.next()
    if not fleet.clock.run_while(lambda: any(asker.answers < 4 for asker in askers), 30.0):
        raise SystemExit("not all modules answered")
    return time.process_time() - start


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--json", action="store_true")
    found = {
        "petrol idling, no traffic, times real time": petrol_idle(),
        "petrol, 5 requests a second, times real time (aim 200)": petrol_under_test(5.0),
        "petrol, 20 requests a second, times real time": petrol_under_test(20.0),
        "petrol, 20 requests a second, bus 10 % loaded, times real time": petrol_under_test(20.0, 0.1, 60.0),
        "48 modules, no traffic, times real time (aim 60)": many_modules(),
        "as found of 48 modules, s (aim 1)": as_found(),
    }
    if parser.parse_args().json:
        print(json.dumps(found))
        return
    for name, value in found.items():
        print(f"{value:10.3f}  {name}")


if __name__ == "__main__":
    main()
