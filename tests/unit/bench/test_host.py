"""The bench as a process of its own, in real time on loopback."""

from __future__ import annotations

import asyncio
import contextlib
import os
import signal
import subprocess
import sys
from collections.abc import Callable, Coroutine
from typing import Any

import pytest

from asleft.bench.bus import InLoopBus
from asleft.bench.car import CarBase
from asleft.bench.client import Driver, HostedCar, LoopbackBus
from asleft.bench.clock import HostClock, StepClock
from asleft.bench.control import ControlServer
from asleft.bench.garage import make_car
from asleft.bench.host import main
from asleft.bench.identifiers import text
from asleft.bench.kwp import KwpModule
from asleft.bench.links import CarLinks
from asleft.bench.loopback import CHANNEL, free_port
from asleft.bench.module import Address, ControlModule
from asleft.bench.transport import IsoTpNode, TransportSettings
from asleft.model.errors import Code, InputError, LinkError
from asleft.model.frame import CanFrame
from asleft.model.origin import ClockKind, Origin, WallTrust
from kit.kline_client import KLineClient

ENGINE = TransportSettings(0x7E8, 0x7E0, functional=(0x7DF,))


async def until(test: Callable[[], Any], limit_s: float = 3.0) -> None:
    """Wait until ``test`` is true; loopback is fast, but not instant."""
    async with asyncio.timeout(limit_s):
        while not test():
            await asyncio.sleep(0.005)


class Asker:
    def __init__(self, bus: LoopbackBus, clock: HostClock) -> None:
        self.heard: list[bytes] = []
        self.node = IsoTpNode(bus, clock, ENGINE, lambda answer, _f: self.heard.append(answer), name="tester")

    async def ask(self, request: str) -> bytes:
        """The answer; asked again when the module still boots on a busy machine."""
        for _ in range(6):
            self.heard.clear()
            self.node.send(bytes.fromhex(request))
            with contextlib.suppress(TimeoutError):
                await until(lambda: self.heard, 1.0)
                return self.heard[-1]
        raise AssertionError(f"no answer to {request}")


def test_two_hosted_cars_answer_and_do_not_hear_each_other() -> None:
    """Acts over the control socket, requests over the bus; then a clean stop by SIGTERM and by closing its input."""

    async def story() -> None:
        first, second = HostedCar("petrol", seed=1, truth=True), HostedCar("petrol", seed=2)
        await asyncio.gather(first.start(), second.start())
        clock = HostClock()
        buses = [LoopbackBus(host.channel, host.port, clock) for host in (first, second)]
        try:
            askers = [Asker(bus, clock) for bus in buses]
            await asyncio.gather(*(host.driver.act("key", position="on") for host in (first, second)))
            await asyncio.sleep(0.6)
            vins = [await asker.ask("22F190") for asker in askers]
            truth = await first.driver.truth()
            assert vins[0][3:].decode() == truth["vin"]
            assert vins[0] != vins[1]
            assert await askers[0].ask("1003") == bytes.fromhex("5003003201F4")
            assert askers[1].heard == [vins[1]]
            assert 0.6 < await first.driver.time_s() < 20.0
            with pytest.raises(InputError, match="not started for grading"):
                await second.driver.truth()
            with pytest.raises(InputError, match=r"there are .*key"):
                await first.driver.act("fly")
            assert "key" in await first.driver.acts()
            os.kill(second.pid, signal.SIGTERM)
            assert await second.stop() == 0
            with pytest.raises(LinkError):
                await second.driver.act("key", position="off")
        finally:
            for bus in buses:
                bus.close()
            codes = await first.stop(), await second.stop()
        assert codes == (0, 0)

    asyncio.run(story())


def test_a_host_says_why_it_cannot_start(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["nosuch"]) == 2
    assert "there are petrol" in capsys.readouterr().out


def test_starting_an_unknown_car_raises_what_the_host_says() -> None:
    async def story() -> None:
        with pytest.raises(InputError, match="no bench car 'nosuch'"):
            await HostedCar("nosuch").start()

    asyncio.run(story())


def test_a_host_stops_when_its_parent_goes() -> None:
    """The parent is a shell that is killed: its end of the pipe closes."""
    host = subprocess.Popen(
        [sys.executable, "-m", "asleft.bench.host", "petrol"], stdin=subprocess.PIPE, stdout=subprocess.PIPE
    )
    assert host.stdout is not None
    assert host.stdin is not None
    assert b'"ready": true' in host.stdout.readline()
    host.stdin.close()
    assert host.wait(timeout=5) == 0
    host.stdout.close()


# -- parts, in this process --------------------------------------------------------------------------------------------


def on_loop(story: Callable[[], Coroutine[Any, Any, None]]) -> None:
    asyncio.run(story())


def test_loopback_nodes_of_one_process_hear_each_other_but_not_themselves() -> None:
    async def story() -> None:
        clock = HostClock()
        bus = LoopbackBus(CHANNEL, free_port(), clock)
        heard: dict[str, list[CanFrame]] = {"a": [], "b": []}
        nodes = {name: bus.join(name, into.append) for name, into in heard.items()}
        try:
            for number in range(50):
                nodes["a"].send(CanFrame(0x100, bytes([number])))
                nodes["b"].send(CanFrame(0x100, bytes([number])))
            await until(lambda: len(heard["a"]) == len(heard["b"]) == 50)
            for frames in heard.values():
                assert [frame.data[0] for frame in frames] == list(range(50))
                assert all(frame.time_s is not None for frame in frames)
            assert bus.origin is Origin.BENCH
        finally:
            bus.close()
        bus.close()
        with pytest.raises(LinkError) as caught:
            nodes["a"].send(CanFrame(0x100, b""))
        assert caught.value.code is Code.LINK_LOST

    on_loop(story)


def test_a_bad_adapter_loses_frames() -> None:
    async def story() -> None:
        clock = HostClock()
        port = free_port()
        good, bad = LoopbackBus(CHANNEL, port, clock), LoopbackBus(CHANNEL, port, clock, lost=0.5, seed=1)
        heard: list[CanFrame] = []
        witness: list[CanFrame] = []
        good.join("witness", witness.append)
        try:
            sender, ear = good.join("sender", lambda _f: None), bad.join("ear", heard.append)
            for number in range(100):
                sender.send(CanFrame(0x100, bytes([number])))
            await until(lambda: len(witness) == 100)
            await asyncio.sleep(0.2)
            assert 25 < len(heard) < 75
            ear.leave()
        finally:
            good.close()
            bad.close()

    on_loop(story)


def test_no_multicast_is_a_clear_error() -> None:
    async def story() -> None:
        with pytest.raises(LinkError, match="no-bus"):
            LoopbackBus("192.0.2.1", free_port(), HostClock())

    on_loop(story)


def test_host_clock_is_real_and_may_be_faster() -> None:
    async def story() -> None:
        clock = HostClock(speed=50.0)
        log: list[float] = []
        clock.call_at(0.5, lambda: log.append(clock.now()))
        await clock.sleep_until(1.0)
        assert 0.5 <= log[0] < 5.0
        assert clock.now() >= 1.0
        assert clock.kind is ClockKind.REAL
        assert clock.wall()[1] is WallTrust.SYSTEM

    on_loop(story)


@pytest.mark.parametrize(
    ("line", "message"),
    [
        (b"not json\n", "not JSON"),
        (b"[1]\n", "one JSON object"),
        (b'{"ask": "money"}\n', "money"),
        (b'{"act": "key", "args": [1]}\n', "named arguments"),
        (b'{"act": "key", "args": {"angle": 1}}\n', "position"),
        (b'{"ask": "truth"}\n', "grading"),
    ],
)
def test_control_answers_bad_lines_with_a_sentence(line: bytes, message: str) -> None:
    answer = ControlServer(make_car("petrol")).answer(line)
    assert message in answer["error"]
    assert answer["code"] == "act-unknown"


def test_control_saves_for_grading() -> None:
    answer = ControlServer(make_car("petrol", 4), truth=True).answer(b'{"ask": "save"}\n')
    assert answer["done"]["car"] == "petrol"


def test_unknown_options_of_a_car_are_refused() -> None:
    with pytest.raises(InputError, match="wings"):
        make_car("petrol", options={"wings": 2})


def test_a_driver_without_a_host_says_so() -> None:
    async def story() -> None:
        with pytest.raises(LinkError, match="bench host"):
            await Driver(free_port()).act("key", position="on")

    on_loop(story)


def test_all_links_of_a_car_at_once() -> None:
    """A car with modules on CAN and on a K-line: both served, DoIP on request, the VIN told by DoIP."""

    class TwoLinks(CarBase):
        def __init__(self) -> None:
            engine = ControlModule("engine", Address.normal(0x7E0, 0x7E8), identifiers=[text(0xF190, "VIN", "1" * 17)])
            brakes = KwpModule("brakes", 0x29, identifiers=[text(0x9B, "part", "BRK-1")])
            super().__init__("two links", [engine, brakes])

        def advance_to(self, t_s: float) -> None: ...

    async def story() -> None:
        clock = HostClock()
        bus = LoopbackBus(CHANNEL, free_port(), clock)
        car = TwoLinks()
        links = CarLinks(car, clock, bus)
        told = await links.open(doip=True)
        try:
            car.set_power(True)
            await asyncio.sleep(0.4)
            assert await Asker(bus, clock).ask("22F190") == b"\x62\xf1\x90" + b"1" * 17
            assert told["doip"]["modules"] == {"engine": 0x1001}
            client = KLineClient(told["serial"], target=0x29)
            try:
                assert await asyncio.to_thread(client.fast_start) == b"\xc1\xef\x8f"
                assert await asyncio.to_thread(client.ask, b"\x1a\x9b") == b"\x5a\x9bBRK-1"
            finally:
                client.close()
            reader, writer = await asyncio.open_connection("127.0.0.1", told["doip"]["tcp"])
            writer.write(bytes.fromhex("02FD0005000000070E000000000000"))
            assert (await reader.readexactly(17)).endswith(bytes.fromhex("0E801000000000"))
            writer.close()
        finally:
            await links.close()
            bus.close()

    on_loop(story)


def test_a_car_with_a_k_line_needs_one() -> None:
    class Old(CarBase):
        def __init__(self) -> None:
            super().__init__("old", [KwpModule("engine", 0x11)])

    clock = StepClock()
    with pytest.raises(InputError, match="K-line"):
        Old().attach(InLoopBus(clock), clock)
