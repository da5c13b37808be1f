"""The python-can adapter when the driver fails: typed errors, threads that end, no hang."""

from __future__ import annotations

import asyncio
import threading
from typing import Any

import can
import pytest

from asleft.job.clock import LoopClock, real_clock
from asleft.link.bus_link import BusLink
from asleft.link.python_can import PythonCanBus
from asleft.model.errors import Code, LinkError
from asleft.model.frame import CanFrame
from asleft.model.origin import Origin

FRAME = CanFrame(0x7E0, b"\x01\x3e")


class FakeDriver:
    """Stands for a driver whose cable is pulled: from then on every call fails."""

    def __init__(self) -> None:
        self.gone = threading.Event()
        self.shut = threading.Event()

    def recv(self, timeout: float | None = None) -> None:
        if self.gone.wait(0.005):
            raise can.CanOperationError("device disconnected")

    def send(self, message: can.Message, timeout: float | None = None) -> None:
        if self.gone.is_set():
            raise can.CanOperationError("device disconnected")
        if message.arbitration_id == 0x666:
            raise can.CanTimeoutError("transmit queue full")

    def shutdown(self) -> None:
        self.shut.set()


@pytest.fixture
def driver(monkeypatch: pytest.MonkeyPatch) -> FakeDriver:
    fake = FakeDriver()
    monkeypatch.setattr(can, "Bus", lambda **_: fake)
    return fake


async def opened(clock: LoopClock) -> tuple[BusLink, list[LinkError]]:
    link = BusLink(PythonCanBus("socketcan", "can0", 500_000, clock), clock)
    lost: list[LinkError] = []
    await link.open()
    link.when_lost(lost.append)
    return link, lost


async def until(condition: Any, clock: LoopClock) -> None:
    end_s = clock.now() + 3.0
    while not condition() and clock.now() < end_s:
        await clock.sleep_until(clock.now() + 0.002)


def test_a_pulled_cable_is_told_once_and_sending_fails(driver: FakeDriver) -> None:
    """Both threads see it; listeners hear of it once; sending raises link-lost; closing still gives all back."""

    async def main() -> None:
        clock = real_clock()
        link, lost = await opened(clock)
        driver.gone.set()
        await until(lambda: bool(lost), clock)
        with pytest.raises(LinkError, match="device disconnected") as caught:
            link.send(FRAME)
        assert caught.value.code is Code.LINK_LOST
        await link.close()
        assert len(lost) == 1
        assert driver.shut.is_set()
        assert not [t for t in threading.enumerate() if t.name.startswith("can socketcan")]

    asyncio.run(main())


def test_a_bus_where_nobody_acknowledges_ends_in_link_lost(driver: FakeDriver) -> None:
    """Three frames that the driver cannot give out in a row: lost, with the words of the driver."""

    async def main() -> None:
        clock = real_clock()
        link, lost = await opened(clock)
        for _ in range(3):
            link.send(CanFrame(0x666, b""))
        await until(lambda: bool(lost), clock)
        assert "transmit queue full" in lost[0].sentence()
        await link.close()

    asyncio.run(main())


def test_late_listeners_hear_of_a_loss_at_once(driver: FakeDriver) -> None:
    """Who begins to watch after the loss is told straight away."""

    async def main() -> None:
        clock = real_clock()
        link, lost = await opened(clock)
        driver.gone.set()
        await until(lambda: bool(lost), clock)
        late: list[LinkError] = []
        link.when_lost(late.append)
        assert len(late) == 1
        await link.close()

    asyncio.run(main())


def test_a_listening_link_sends_nothing() -> None:
    """With listen-only, sending is refused before it reaches the driver."""

    async def main() -> None:
        clock = real_clock()
        bus = PythonCanBus("virtual", "asleft-listen", 500_000, clock, listen_only=True)
        link = BusLink(bus, clock)
        await link.open()
        with pytest.raises(LinkError) as caught:
            link.send(FRAME)
        assert caught.value.code is Code.LISTEN_ONLY
        await link.close()

    asyncio.run(main())


def test_nothing_can_make_its_origin_anything_but_vehicle() -> None:
    """No argument, no attribute: what answers on an interface counts as a car."""
    with pytest.raises(TypeError):
        PythonCanBus("virtual", "x", None, None, origin=Origin.BENCH)  # type: ignore[call-arg, arg-type]
    with pytest.raises(AttributeError):
        PythonCanBus("virtual", "x", None, None).origin = Origin.BENCH  # type: ignore[misc, arg-type]


def test_several_nodes_on_one_interface_hear_each_other() -> None:
    """A bench process hosts many modules on one interface: each hears the others, none hears itself."""

    async def main() -> None:
        clock = real_clock()
        bus = PythonCanBus("virtual", "asleft-many", 500_000, clock)
        await bus.open()
        heard: dict[str, list[int]] = {"a": [], "b": []}
        a = bus.join("a", lambda f: heard["a"].append(f.id))
        b = bus.join("b", lambda f: heard["b"].append(f.id))
        a.send(CanFrame(1, b""))
        b.send(CanFrame(2, b""))
        await until(lambda: heard["a"] and heard["b"], clock)
        await clock.sleep_until(clock.now() + 0.02)
        await bus.close()
        assert heard == {"a": [2], "b": [1]}

    asyncio.run(main())
