"""DoIP of a bench car on loopback, byte by byte."""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable

import pytest

from asleft.bench.bus import InLoopBus
from asleft.bench.clock import HostClock
from asleft.bench.doip import FUNCTIONAL, DoipServer
from asleft.bench.doip_messages import HEADER, Entity, Kind, encode
from asleft.bench.identifiers import Write, stored, text
from asleft.bench.module import Address, ControlModule, Timing

VIN = "1M8GDM9AXKP042788"
ENGINE, BRAKES, ASLEEP = 0x1001, 0x1002, 0x1003
QUICK = Timing(latency_s=0.001, boot_s=0.0)


class Tester:
    """A raw DoIP tester."""

    __test__ = False

    def __init__(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        self.reader, self.writer = reader, writer

    def write(self, text_: str) -> None:
        self.writer.write(bytes.fromhex(text_))

    async def read(self) -> str:
        """Next message in hexadecimal; empty when it hung up."""
        try:
            async with asyncio.timeout(3.0):
                head = await self.reader.readexactly(HEADER.size)
                return (head + await self.reader.readexactly(HEADER.unpack(head)[3])).hex().upper()
        except asyncio.IncompleteReadError:
            return ""

    async def ask(self, text_: str) -> str:
        self.write(text_)
        return await self.read()

    async def activate(self, source: int = 0x0E00, kind: int = 0) -> str:
        self.writer.write(encode(Kind.ACTIVATE, source.to_bytes(2, "big") + bytes([kind]) + bytes(4)))
        return await self.read()

    def diagnostic(self, target: int, data: bytes, source: int = 0x0E00) -> None:
        self.writer.write(encode(Kind.DIAGNOSTIC, source.to_bytes(2, "big") + target.to_bytes(2, "big") + data))


class Story:
    """A served car and how to connect to it."""

    def __init__(self, server: DoipServer, tcp: int, udp: int) -> None:
        self.server, self.tcp, self.udp = server, tcp, udp
        self.testers: list[Tester] = []

    async def connect(self) -> Tester:
        tester = Tester(*await asyncio.open_connection("127.0.0.1", self.tcp))
        self.testers.append(tester)
        return tester

    async def datagram(self, data: bytes, limit_s: float = 1.0) -> bytes | None:
        loop = asyncio.get_running_loop()
        answer: asyncio.Future[bytes] = loop.create_future()

        class Ear(asyncio.DatagramProtocol):
            def datagram_received(self, data: bytes, addr: object) -> None:
                answer.set_result(data)

        transport, _ = await loop.create_datagram_endpoint(Ear, remote_addr=("127.0.0.1", self.udp))
        try:
            transport.sendto(data)
            return await asyncio.wait_for(answer, limit_s)
        except TimeoutError:
            return None
        finally:
            transport.close()


def told(work: Callable[[Story], Awaitable[None]], sockets: int = 2) -> None:
    """Serve three modules, one of them asleep, while ``work`` goes on."""

    async def main() -> None:
        clock = HostClock()
        bus = InLoopBus(clock)

        def module(name: str, address: int) -> ControlModule:
            made = ControlModule(
                name,
                Address.normal(0x700 + address % 16, 0x708 + address % 16),
                identifiers=[
                    text(0xF18C, "serial", name),
                    stored(0x0100, "slow", b"a", write=Write(takes_s=0.3)),
                ],
                timing=QUICK,
            )
            made.attach(bus, clock)
            return made

        modules = {ENGINE: module("ENG", ENGINE), BRAKES: module("BRK", BRAKES), ASLEEP: module("OFF", ASLEEP)}
        modules[ENGINE].power_on()
        modules[BRAKES].power_on()
        server = DoipServer(clock, Entity(VIN), modules, sockets=sockets)
        story = Story(server, *await server.open())
        try:
            await work(story)
        finally:
            for tester in story.testers:
                tester.writer.close()
            await server.close()
            for made in modules.values():
                made.detach()

    asyncio.run(main())


@pytest.mark.parametrize(
    ("kind", "payload", "whole"),
    [
        (Kind.ACTIVATE, "0E000000000000", "02FD0005000000070E000000000000"),
        (Kind.NACK, "04", "02FD00000000000104"),
        (Kind.ALIVE, "", "02FD000700000000"),
        (Kind.ALIVE_ANSWER, "0E00", "02FD0008000000020E00"),
        (Kind.DIAGNOSTIC, "00010E0000010203", "02FD80010000000800010E0000010203"),
        (Kind.DIAGNOSTIC_ACK, "00010E0000", "02FD80020000000500010E0000"),
        (Kind.DIAGNOSTIC_NACK, "00010E0005", "02FD80030000000500010E0005"),
        (Kind.IDENTIFY, "", "02FD000100000000"),
        (Kind.POWER_ANSWER, "01", "02FD40040000000101"),
    ],
)
def test_messages_as_published(kind: Kind, payload: str, whole: str) -> None:
    """Source: checks section 3, from an independent client's tests."""
    assert encode(kind, bytes.fromhex(payload)) == bytes.fromhex(whole)


def test_activation_request_and_reading() -> None:
    async def work(story: Story) -> None:
        tester = await story.connect()
        assert await tester.activate() == "02FD0006000000090E000E801000000000"
        tester.diagnostic(ENGINE, bytes.fromhex("22F18C"))
        assert await tester.read() == "02FD80020000000510010E0000"
        assert await tester.read() == "02FD80010000000A10010E0062F18C454E47"

    told(work)


def test_long_work_says_pending_and_then_answers() -> None:
    async def work(story: Story) -> None:
        tester = await story.connect()
        await tester.activate()
        for request, last in (("1003", "5003003201F4"), ("2E010062", "6E0100")):
            tester.diagnostic(ENGINE, bytes.fromhex(request))
            heard = [await tester.read()]
            while not heard[-1].endswith(last):
                heard.append(await tester.read())
        assert any(message.endswith("7F2E78") for message in heard)
        assert story.server.modules[ENGINE].peek(0x0100) == b"b"

    told(work)


def test_functional_requests_go_to_all_who_are_awake() -> None:
    async def work(story: Story) -> None:
        tester = await story.connect()
        await tester.activate()
        tester.diagnostic(FUNCTIONAL, bytes.fromhex("3E00"))
        messages = {await tester.read() for _ in range(3)}
        assert messages == {
            "02FD800200000005E4000E0000",
            "02FD80010000000610010E007E00",
            "02FD80010000000610020E007E00",
        }

    told(work)


def test_diagnostic_refusals() -> None:
    async def work(story: Story) -> None:
        tester = await story.connect()
        tester.diagnostic(ENGINE, b"\x3e\x00")
        assert (await tester.read()).endswith("10010E0002")
        await tester.activate()
        tester.diagnostic(0x1234, b"\x3e\x00")
        assert (await tester.read()).endswith("12340E0003")
        tester.diagnostic(ASLEEP, b"\x3e\x00")
        assert (await tester.read()).endswith("10030E0006")
        tester.diagnostic(ENGINE, b"\x3e\x00", source=0x0E01)
        assert (await tester.read()).endswith("10010E0102")

    told(work)


@pytest.mark.parametrize(("source", "kind", "code"), [(0x0123, 0, "00"), (0x0E00, 9, "06")])
def test_activation_is_refused_and_the_connection_closed(source: int, kind: int, code: str) -> None:
    async def work(story: Story) -> None:
        tester = await story.connect()
        assert (await tester.activate(source, kind)).endswith(f"0E80{code}00000000")
        assert await tester.read() == ""

    told(work)


def test_no_more_testers_than_sockets() -> None:
    async def work(story: Story) -> None:
        for number in range(2):
            assert "1000000000" in await (await story.connect()).activate(0x0E00 + number)
        assert (await (await story.connect()).activate(0x0E05)).endswith("0E800100000000")

    told(work)


def test_a_second_connection_of_a_living_tester_is_refused_a_dead_ones_taken() -> None:
    async def work(story: Story) -> None:
        first = await story.connect()
        await first.activate()
        second = await story.connect()
        waiting = asyncio.create_task(second.activate())
        assert await first.read() == "02FD000700000000"
        first.write("02FD0008000000020E00")
        assert (await waiting).endswith("0E800300000000")
        third = await story.connect()
        waiting = asyncio.create_task(third.activate())
        assert await first.read() == "02FD000700000000"
        assert (await waiting).endswith("0E801000000000")

    told(work)


def test_another_source_on_the_same_connection_is_refused() -> None:
    async def work(story: Story) -> None:
        tester = await story.connect()
        await tester.activate()
        assert (await tester.activate(0x0E01)).endswith("0E800200000000")

    told(work)


@pytest.mark.parametrize(
    ("message", "code", "stays"),
    [
        ("02FC000500000007" + "0E000000000000", "00", False),
        ("02FD999900000001" + "00", "01", True),
        ("02FD800100010000", "02", None),
        ("02FD000500000003" + "0E0000", "04", False),
    ],
)
def test_bad_headers_get_the_generic_refusal(message: str, code: str, stays: bool | None) -> None:
    async def work(story: Story) -> None:
        tester = await story.connect()
        assert await tester.ask(message) == f"02FD000000000001{code}"
        if stays:
            assert "10" in await tester.activate()
        elif stays is False:
            assert await tester.read() == ""

    told(work)


def test_identification_by_datagram() -> None:
    async def work(story: Story) -> None:
        announcement = encode(Kind.ANNOUNCEMENT, Entity(VIN).announcement())
        assert await story.datagram(encode(Kind.IDENTIFY)) == announcement
        assert await story.datagram(encode(Kind.IDENTIFY, version=0xFF)) == announcement
        assert await story.datagram(encode(Kind.IDENTIFY_VIN, VIN.encode())) == announcement
        assert await story.datagram(encode(Kind.IDENTIFY_VIN, b"X" * 17), 0.1) is None
        assert await story.datagram(encode(Kind.POWER)) == encode(Kind.POWER_ANSWER, b"\x01")
        status = await story.datagram(encode(Kind.STATUS))
        assert status == encode(Kind.STATUS_ANSWER, bytes([0, 2, 0]) + (4096).to_bytes(4, "big"))
        assert await story.datagram(b"\x02\xfd") == encode(Kind.NACK, b"\x04")
        assert await story.datagram(encode(Kind.IDENTIFY_VIN, b"short")) == encode(Kind.NACK, b"\x04")
        assert await story.datagram(encode(Kind.IDENTIFY) + b"\x00") == encode(Kind.NACK, b"\x04")

    told(work)
