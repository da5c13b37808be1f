"""The gateway: passes on, and refuses, queues or drops beyond its limit."""

from __future__ import annotations

import pytest

from asleft.bench.address import Address
from asleft.bench.bus import InLoopBus
from asleft.bench.car import CarBase
from asleft.bench.clock import StepClock
from asleft.bench.gateway import Gateway, GatewaySettings, InnerBus, Overload
from asleft.bench.identifiers import Write, stored, text
from asleft.bench.module import ControlModule, Timing

from .conftest import Tester

COUNT = 8


class Car:
    """Eight modules on two inner buses behind a gateway, a tester for each at the plug."""

    def __init__(self, **settings: object) -> None:
        self.clock = StepClock()
        self.plug = InLoopBus(self.clock)
        inner = [InLoopBus(self.clock), InLoopBus(self.clock, 125_000)]
        self.gateway = Gateway(self.clock, self.plug, **settings)  # type: ignore[arg-type]
        self.testers: list[Tester] = []
        for number in range(COUNT):
            address = Address.normal(0x700 + number, 0x780 + number)
            module = ControlModule(
                f"m{number}",
                address,
                identifiers=[
                    text(0xF190, "VIN", "1M8GDM9AXKP042788"),
                    stored(0x0100, "x", bytes(20), write=Write(takes_s=1.0)),
                ],
                timing=Timing(latency_s=0.02),
            )
            module.attach(inner[number % 2], self.clock)
            module.power_on()
            self.gateway.route(inner[number % 2], address)
            self.testers.append(Tester(self.plug, self.clock, address))
        self.clock.run_until(1.0)

    def ask_all(self, request: str) -> list[str]:
        """Ask all modules at once; last answer of each."""
        for tester in self.testers:
            tester.heard.clear()
            tester.node.send(bytes.fromhex(request))
        self.clock.run_until(self.clock.now() + 2.0)
        return [tester.heard[-1][1].hex() if tester.heard else "" for tester in self.testers]


VIN = "62f190" + b"1M8GDM9AXKP042788".hex()


def test_passes_short_and_long_messages_both_ways() -> None:
    car = Car()
    tester = car.testers[1]
    assert tester.ask("22F190") == VIN
    assert tester.ask("1003") == "5003003201f4"
    assert tester.all("2E0100" + "11" * 20, 2.0) == ["7f2e78", "6e0100"]
    assert car.gateway.in_flight == 0


def test_all_within_the_limit_are_answered() -> None:
    car = Car(limit=COUNT)
    assert car.ask_all("22F190") == [VIN] * COUNT
    assert car.gateway.counts.passed == COUNT


def test_queues_beyond_the_limit() -> None:
    """All are answered, later: with two in flight the last comes after about four latencies."""
    car = Car(limit=2, overload=Overload.QUEUE)
    start_s = car.clock.now()
    assert car.ask_all("22F190") == [VIN] * COUNT
    assert car.gateway.counts.queued == COUNT - 2
    assert max(tester.heard[-1][0] for tester in car.testers) - start_s > 4 * 0.02


def test_queues_long_requests_whole() -> None:
    car = Car(limit=1, overload=Overload.QUEUE)
    assert car.ask_all("1003") == ["5003003201f4"] * COUNT
    for tester in car.testers:
        tester.node.send(bytes.fromhex("2E0100" + "11" * 20))
    car.clock.run_until(car.clock.now() + 0.9)
    assert car.gateway.in_flight == 1


def test_refuses_beyond_the_limit() -> None:
    car = Car(limit=3, overload=Overload.REFUSE)
    answers = car.ask_all("22F190")
    assert answers.count(VIN) == 3
    assert answers.count("7f2221") == COUNT - 3
    assert car.ask_all("22F190").count(VIN) == 3


def test_drops_beyond_the_limit() -> None:
    car = Car(limit=3, overload=Overload.DROP)
    answers = car.ask_all("22F190")
    assert answers.count("") == COUNT - 3
    assert car.gateway.counts.dropped == COUNT - 3


def test_a_module_that_never_answers_frees_its_place() -> None:
    car = Car(limit=1, overload=Overload.DROP, timeout_s=0.5)
    assert car.testers[0].ask("3E80") == ""
    assert car.testers[1].ask("22F190", 0.05) == ""
    car.clock.run_until(car.clock.now() + 0.6)
    assert car.testers[1].ask("22F190") == VIN


@pytest.mark.parametrize(("request_hex", "answer"), [("2E0100" + "00", "7f2e33"), ("1101", "7f1133"), ("22F190", VIN)])
def test_a_secured_gateway_denies_services(request_hex: str, answer: str) -> None:
    car = Car(denied=frozenset({0x2E, 0x11}))
    assert car.testers[0].ask(request_hex) == answer


def test_a_denied_long_request_is_stopped_by_overflow() -> None:
    car = Car(denied=frozenset({0x2E}))
    assert car.testers[0].ask("2E0100" + "11" * 20) == ""
    assert not car.testers[0].node.sending


def test_functional_requests_reach_every_bus() -> None:
    car = Car()
    car.testers[0].node.send(bytes.fromhex("3E00"), functional=True)
    for tester in car.testers:
        tester.heard.clear()
    car.clock.run_until(car.clock.now() + 0.5)
    assert [tester.heard[-1][1].hex() for tester in car.testers] == ["7e00"] * COUNT


class GatewayedCar(CarBase):
    """Two modules behind a gateway, one at the plug."""

    def __init__(self) -> None:
        modules = [
            ControlModule(name, Address.normal(request, request + 8), identifiers=[text(0xF187, "part", name)])
            for name, request in (("gateway", 0x710), ("engine", 0x720), ("radio", 0x730))
        ]
        buses = {"power": InnerBus(("engine",)), "comfort": InnerBus(("radio",), bitrate=125_000)}
        super().__init__("gatewayed", modules, wiring=GatewaySettings(buses, denied=frozenset({0x2E})))

    def advance_to(self, t_s: float) -> None: ...


def test_a_car_wired_with_a_gateway() -> None:
    """All modules answer at the plug; inner traffic stays inside; writes are denied; it can be attached again."""
    clock = StepClock()
    car = GatewayedCar()
    for _ in range(2):
        plug = InLoopBus(clock)
        car.attach(plug, clock)
        car.set_power(True)
        clock.run_until(clock.now() + 1.0)
        testers = [Tester(plug, clock, Address.normal(number, number + 8)) for number in (0x710, 0x720, 0x730)]
        assert [bytes.fromhex(tester.ask("22F187"))[3:] for tester in testers] == [b"gateway", b"engine", b"radio"]
        assert testers[1].ask("2EF18700") == "7f2e33"
        assert car.buses["power"].counts.frames > 0
        before = car.buses["power"].counts.frames
        testers[0].ask("22F187")
        assert car.buses["power"].counts.frames == before
        car.detach()
