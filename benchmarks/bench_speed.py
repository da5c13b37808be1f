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
from asleft.bench.cars.estate import EstateCar
from asleft.bench.cars.petrol import PetrolCar
from asleft.bench.clock import StepClock
from asleft.bench.module import ControlModule
from asleft.bench.transport import IsoTpNode, TransportSettings


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


def running_estate(clock: StepClock, bus: InLoopBus) -> EstateCar:
    car = EstateCar(seed=1)
    car.attach(bus, clock)
    car.act("key", position="on")
    clock.run_until(3.0)
    car.act("key", position="start")
    clock.run_until(12.0)
    return car


def many_modules(seconds: float = 120.0) -> float:
    """The estate: 48 modules with physics, engine idling, no traffic but its own broadcasts."""
    clock = StepClock()
    running_estate(clock, InLoopBus(clock))
    return ratio(seconds, lambda: clock.run_until(clock.now() + seconds))


def as_found() -> float:
    """Processor time, s, to read VIN, part and codes of the estate's 48 modules, all at once."""
    clock = StepClock()
    bus = InLoopBus(clock)
    requests = ["22F190", "22F187", "1902FF", "190A"]
    car = running_estate(clock, bus)
    askers = [Asker(bus, clock, m.address, requests, 1) for m in car.modules if isinstance(m, ControlModule)]
    start = time.process_time()
    for asker in askers:
        asker.next()
    if not clock.run_while(lambda: any(asker.answers < len(requests) for asker in askers), 30.0):
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
        "estate, 48 modules, no traffic, times real time (aim 60)": many_modules(),
        "estate, as found of 48 modules, s (aim 1)": as_found(),
    }
    if parser.parse_args().json:
        print(json.dumps(found))
        return
    for name, value in found.items():
        print(f"{value:10.3f}  {name}")


if __name__ == "__main__":
    main()
