"""What every message link does (DoIP, K-line), and that conversations over it give what they give over CAN."""

from __future__ import annotations

import asyncio
import inspect
from collections.abc import Callable, Coroutine
from typing import Any

import pytest

from asleft.bench.bus import InLoopBus
from asleft.bench.cars.petrol import PetrolCar
from asleft.bench.doip import DoipServer
from asleft.bench.doip_messages import Entity
from asleft.bench.identifiers import stored, text
from asleft.bench.kline import KLine
from asleft.bench.kwp import KwpModule
from asleft.bench.obd import Obd
from asleft.bench.pty_line import PtyLine
from asleft.bench.trouble_memory import TroubleCode
from asleft.job.clock import LoopClock, real_clock, run_virtual
from asleft.link.doip import DoipLink
from asleft.link.doip_search import find_entities
from asleft.link.kline import KLineLink
from asleft.link.message_recorder import RecordingMessageLink
from asleft.link.serial_line import SerialLine
from asleft.live.sampler import LinkSignals
from asleft.model.errors import Code, LinkError, RunError
from asleft.model.module import ModuleAddress, PictureKind
from asleft.model.origin import Origin
from asleft.ports.messages import FailedMessage, MessageLink, PeerMessage, SentMessage
from asleft.talk.conversations import Conversations
from asleft.talk.errors import ModuleSilent, NotPassedOn
from asleft.talk.modules import Form, MappedItem, MappedModule, ModuleMap
from asleft.talk.pictures import take_picture
from asleft.talk.policy import WritesPolicy
from asleft.talk.settings import TalkSettings
from kit.fake_module import receipt

VIN_REQUEST = bytes.fromhex("22F190")
Play = Callable[[MessageLink, PetrolCar, LoopClock], Coroutine[Any, Any, None]]


async def until(clock: LoopClock, ready: Callable[[], Any], longest_s: float = 5.0) -> None:
    end_s = clock.now() + longest_s
    while not ready() and clock.now() < end_s:
        await clock.sleep_until(clock.now() + 0.005)


class MessageLinkContract:
    """What ports.messages.MessageLink promises. ``peer`` has the module that is asked, ``nobody`` has none."""

    origin: Origin
    kind = ""
    peer: int
    nobody: int
    request = VIN_REQUEST
    answer_head = bytes.fromhex("62F190")

    def run(self, play: Play) -> None:
        raise NotImplementedError

    def test_carries_a_request_out_and_the_answer_back(self) -> None:
        """The answer comes from the peer that was asked, with times that do not lie before the request."""

        async def play(link: MessageLink, car: PetrolCar, clock: LoopClock) -> None:
            heard: list[PeerMessage] = []
            sent: list[SentMessage] = []
            await link.open()
            link.listen(heard.append)
            link.when_sent(sent.append)
            begun_s = clock.now()
            link.send(self.peer, self.request)
            await until(clock, lambda: heard)
            assert heard[0].peer == self.peer
            assert heard[0].payload.startswith(self.answer_head)
            assert begun_s <= sent[0].time_s <= heard[0].started_s <= heard[0].time_s <= clock.now()
            assert sent[0].peer == self.peer

        self.run(play)

    def test_two_requests_are_both_answered(self) -> None:
        """One behind the other, without waiting: the link keeps what its rules ask between them."""

        async def play(link: MessageLink, car: PetrolCar, clock: LoopClock) -> None:
            heard: list[PeerMessage] = []
            await link.open()
            link.listen(heard.append)
            link.send(self.peer, self.request)
            await until(clock, lambda: heard)
            link.send(self.peer, self.request)
            await until(clock, lambda: len(heard) == 2)
            assert heard[0].payload == heard[1].payload

        self.run(play)

    def test_a_peer_that_is_not_there_fails_alone(self) -> None:
        """Its message fails or stays unanswered; the others are still answered."""

        async def play(link: MessageLink, car: PetrolCar, clock: LoopClock) -> None:
            heard: list[PeerMessage] = []
            failed: list[FailedMessage] = []
            await link.open()
            link.listen(heard.append)
            link.when_failed(failed.append)
            link.send(self.nobody, self.request)
            await until(clock, lambda: failed, 1.0)
            link.send(self.peer, self.request)
            await until(clock, lambda: heard)
            assert [m.peer for m in heard] == [self.peer]
            assert [f.peer for f in failed] == [self.nobody]

        self.run(play)

    def test_sends_nothing_unless_open(self) -> None:
        """Before open and after close: link-lost; closing twice is harmless; it opens again."""

        async def play(link: MessageLink, car: PetrolCar, clock: LoopClock) -> None:
            with pytest.raises(LinkError) as before:
                link.send(self.peer, self.request)
            await link.open()
            await link.close()
            await link.close()
            with pytest.raises(LinkError) as after:
                link.send(self.peer, self.request)
            assert before.value.code is after.value.code is Code.LINK_LOST
            heard: list[PeerMessage] = []
            await link.open()
            link.listen(heard.append)
            link.send(self.peer, self.request)
            await until(clock, lambda: heard)
            assert len(heard) == 1

        self.run(play)

    def test_listeners_stop(self) -> None:
        """One that stopped hears no more."""

        async def play(link: MessageLink, car: PetrolCar, clock: LoopClock) -> None:
            first: list[PeerMessage] = []
            second: list[PeerMessage] = []
            await link.open()
            stop = link.listen(first.append)
            link.listen(second.append)
            stop()
            stop()
            link.send(self.peer, self.request)
            await until(clock, lambda: second)
            assert first == []

        self.run(play)

    def test_says_its_origin_and_nobody_can_change_it(self) -> None:
        """No argument, no attribute."""

        async def play(link: MessageLink, car: PetrolCar, clock: LoopClock) -> None:
            assert link.origin is self.origin
            with pytest.raises(AttributeError):
                link.origin = Origin.VEHICLE  # type: ignore[misc]
            assert "origin" not in inspect.signature(type(link)).parameters
            assert link.name

        self.run(play)


ENGINE = ModuleAddress("engine", 0x1001, 0x1001)
BODY = ModuleAddress("body", 0x1010, 0x1010)


class TestDoip(MessageLinkContract):
    origin = Origin.VEHICLE
    kind = "doip:"
    peer = 0x1001
    nobody = 0x1FFF

    def run(self, play: Play) -> None:
        async def main() -> None:
            clock = real_clock()
            car = PetrolCar(seed=5)
            car.attach(InLoopBus(clock), clock)
            car.act("key", position="on")
            modules = {m.name: m for m in car.modules}
            server = DoipServer(clock, Entity(car.vin), {0x1001: modules["engine"], 0x1010: modules["body"]})
            self.server = server
            tcp, self.udp = await server.open()
            link = DoipLink("127.0.0.1", clock, tcp)
            await until(clock, lambda: modules["body"].awake)
            try:
                await play(link, car, clock)
            finally:
                await link.close()
                await server.close()
                car.detach()

        asyncio.run(main())

    def test_a_picture_of_the_car(self) -> None:
        """Identification, codes and standard data of two modules; one that the gateway does not know is silent."""
        ghost = ModuleAddress("ghost", 0x1FFF, 0x1FFF)
        modules = ModuleMap((MappedModule(ENGINE), MappedModule(BODY), MappedModule(ghost)))

        async def play(link: MessageLink, car: PetrolCar, clock: LoopClock) -> None:
            await link.open()
            async with Conversations(link, clock, lambda _: None) as talk:
                picture = await take_picture(PictureKind.AS_FOUND, modules, talk, clock, LinkSignals(talk, clock))
            engine, body, silent = (picture.module(name) for name in ("engine", "body", "ghost"))
            assert engine is not None
            assert body is not None
            assert silent is not None
            assert engine.value("vin") == body.value("vin") == car.vin
            assert engine.value("calibration-id")
            assert not silent.responded
            assert {r.signal: r.value for r in picture.readings}["engine-speed"] == 0.0

        self.run(play)

    def test_what_the_gateway_does_not_pass_on_says_why(self) -> None:
        """An unknown logical address: a silent module, with the gateway's reason."""

        async def play(link: MessageLink, car: PetrolCar, clock: LoopClock) -> None:
            await link.open()
            async with Conversations(link, clock, lambda _: None) as talk:
                with pytest.raises(ModuleSilent) as caught:
                    await talk.ask(ModuleAddress("ghost", 0x1FFF, 0x1FFF), VIN_REQUEST)
                assert isinstance(caught.value, NotPassedOn)
                assert "module address unknown" in caught.value.sentence()

        self.run(play)

    def test_writes_stay_closed_on_a_vehicle(self) -> None:
        """DoIP counts as a vehicle: no effect goes out by default."""

        async def play(link: MessageLink, car: PetrolCar, clock: LoopClock) -> None:
            await link.open()
            async with Conversations(link, clock, lambda _: None) as talk:
                with pytest.raises(Exception, match="writes-closed"):
                    await talk.carry_out(receipt(ENGINE, "14FFFFFF"))

        self.run(play)

    def test_a_gateway_that_hangs_up_is_a_lost_link(self) -> None:
        """Requests under way and later ones end in link-lost at once."""

        async def play(link: MessageLink, car: PetrolCar, clock: LoopClock) -> None:
            await link.open()
            async with Conversations(link, clock, lambda _: None) as talk:
                await talk.ask(ENGINE, VIN_REQUEST)
                assert self.server is not None
                for connection in tuple(self.server.connections):
                    connection.close()
                await until(clock, lambda: self.server is not None and not self.server.connections)
                await clock.sleep_until(clock.now() + 0.05)
                with pytest.raises(LinkError) as caught:
                    await talk.ask(ENGINE, VIN_REQUEST)
                assert caught.value.code is Code.LINK_LOST

        self.run(play)

    server: DoipServer | None = None

    def test_nobody_there_is_no_bus(self) -> None:
        """A port where nobody listens; a tester address that the gateway does not know."""

        async def play(link: MessageLink, car: PetrolCar, clock: LoopClock) -> None:
            with pytest.raises(LinkError) as caught:
                await DoipLink("127.0.0.1", clock, 9).open()
            assert caught.value.code is Code.NO_BUS
            tcp = int(link.name.rpartition(":")[2].partition("?")[0])
            with pytest.raises(LinkError) as caught:
                await DoipLink("127.0.0.1", clock, tcp, tester=0x0123).open()
            assert "tester address unknown" in caught.value.sentence()

        self.run(play)

    def test_the_search_finds_the_car(self) -> None:
        """One datagram to the loopback address: VIN and logical address."""

        async def play(link: MessageLink, car: PetrolCar, clock: LoopClock) -> None:
            (entity,) = await find_entities("127.0.0.1", self.udp, wait_s=0.2)
            assert entity.announcement.vin == car.vin
            assert await find_entities("127.0.0.1", 9, wait_s=0.05) == ()

        self.run(play)


class KLineCar:
    """Two modules on a K-line; one with standard OBD."""

    vin = "1G1JC5444R7252367"

    def __init__(self, line: KLine, clock: LoopClock) -> None:
        self.engine = KwpModule(
            "engine",
            0x11,
            identifiers=[
                text(0x90, "VIN", self.vin),
                text(0x87, "part", "EN-12"),
                stored(5, "learned", b"\x01\x2c"),
            ],
            codes=[TroubleCode(0x042000, "catalyst", lambda: True, emission=True)],
            obd=Obd(values={0x05: lambda: 83.0, 0x0C: lambda: 1726.0}, vin=self.vin, calibration_ids=("JMB*36761500",)),
        )
        self.brakes = KwpModule("brakes", 0x28, identifiers=[text(0x87, "part", "AB-3")], functional=frozenset())
        for module in (self.engine, self.brakes):
            module.attach_line(line, clock)
            module.power_on()
        self._clock = clock
        self._tick()

    def stop(self) -> None:
        self.engine.detach()
        self.brakes.detach()
        self._timer.cancel()

    def _tick(self) -> None:
        self.engine.poll()
        self._timer = self._clock.call_at(self._clock.now() + 0.1, self._tick)


class TestKLine(MessageLinkContract):
    """In virtual time, against the bench's modules."""

    origin = Origin.BENCH
    kind = "kline:"
    peer = 0x11
    nobody = 0x55
    request = bytes.fromhex("1A90")
    answer_head = bytes.fromhex("5A90")
    engine = ModuleAddress("engine", 0x11, 0x11)
    brakes = ModuleAddress("brakes", 0x28, 0x28)

    def run(self, play: Any) -> None:
        async def main(clock: LoopClock) -> None:
            line = KLine(clock)
            car = KLineCar(line, clock)
            await clock.sleep_until(1.0)
            link = KLineLink(line, clock)
            try:
                await play(link, car, clock)
            finally:
                await link.close()

        run_virtual(main)

    def test_a_picture_of_the_car(self) -> None:
        """Identification, learned value, codes of both services, OBD in pieces put together, live values."""
        learned = MappedItem("learned", "learned", 0x05, Form.NUMBER, 0, 2, scale=0.01, unit="%")
        modules = ModuleMap((MappedModule(self.engine, (), (learned,)), MappedModule(self.brakes)))

        async def play(link: MessageLink, car: KLineCar, clock: LoopClock) -> None:
            await link.open()
            async with Conversations(link, clock, lambda _: None) as talk:
                picture = await take_picture(PictureKind.AS_FOUND, modules, talk, clock, LinkSignals(talk, clock))
            engine, brakes = picture.module("engine"), picture.module("brakes")
            assert engine is not None
            assert brakes is not None
            assert engine.value("vin") == car.vin
            assert engine.value("calibration-id") == "JMB*36761500"
            assert engine.value("part-number") == "EN-12"
            assert engine.learned[0].value == "3"
            assert [c.code for c in engine.codes] == ["P0420"]
            assert brakes.value("part-number") == "AB-3"
            readings = {r.signal: r.value for r in picture.readings}
            assert readings["engine-speed"] == 1726.0
            assert readings["coolant-temperature"] == 83.0

        self.run(play)

    def test_the_line_is_woken_again_after_a_long_silence(self) -> None:
        """Ten seconds of nothing: the module sleeps, the next request begins with a new start, unseen by the caller."""

        async def play(link: MessageLink, car: KLineCar, clock: LoopClock) -> None:
            await link.open()
            async with Conversations(link, clock, lambda _: None) as talk:
                first = await talk.ask(self.engine, self.request)
                await clock.sleep_until(clock.now() + 10.0)
                assert await talk.ask(self.engine, self.request) == first

        self.run(play)

    def test_one_request_at_a_time_whatever_was_set(self) -> None:
        """A K-line is one wire: the limit is 1, and requests to two modules wait for each other."""

        async def play(link: MessageLink, car: KLineCar, clock: LoopClock) -> None:
            await link.open()
            settings = TalkSettings(in_flight=24, in_flight_most=24)
            async with Conversations(link, clock, lambda _: None, settings=settings) as talk:
                assert talk.turns.limit == 1
                answers = await asyncio.gather(
                    *(talk.ask(m, bytes.fromhex("1A87")) for m in (self.engine, self.brakes, self.engine))
                )
            assert [a[2:] for a in answers] == [b"EN-12", b"AB-3", b"EN-12"]

        self.run(play)

    def test_a_silent_module_is_named_and_the_line_stays_usable(self) -> None:
        """No answer to the start: module-silent with its reason, in time."""

        async def play(link: MessageLink, car: KLineCar, clock: LoopClock) -> None:
            await link.open()
            async with Conversations(link, clock, lambda _: None) as talk:
                begun_s = clock.now()
                with pytest.raises(ModuleSilent, match="fast start"):
                    await talk.ask(ModuleAddress("ghost", 0x55, 0x55), self.request)
                assert clock.now() - begun_s < 2.0
                assert (await talk.ask(self.engine, self.request)).startswith(self.answer_head)

        self.run(play)

    def test_in_kwp_a_routine_s_result_form_starts_one_so_it_needs_a_receipt(self) -> None:
        """31 03 reads in UDS and starts local routine 03 in KWP2000: the link's language decides."""

        async def play(link: MessageLink, car: KLineCar, clock: LoopClock) -> None:
            await link.open()
            async with Conversations(link, clock, lambda _: None) as talk:
                with pytest.raises(RunError, match="receipt-missing"):
                    await talk.ask(self.engine, bytes.fromhex("31030203"))

        self.run(play)

    @pytest.mark.parametrize("measured", ["", "sheet 4 of the interface's record"])
    def test_writes_wait_for_a_measured_start_on_a_vehicle(self, measured: str) -> None:
        """On a vehicle nothing that changes it goes out before the start was measured; the bench is exempt."""

        async def main(clock: LoopClock) -> None:
            line = KLine(clock)
            KLineCar(line, clock)
            await clock.sleep_until(1.0)
            link = KLineLink(VehicleLine(line), clock, start_measured=measured)
            await link.open()
            policy = WritesPolicy(vehicle_open=True)
            async with Conversations(link, clock, lambda _: None, policy) as talk:
                clear = talk.carry_out(receipt(self.engine, "14FF00"))
                if measured:
                    assert (await clear)[:1] == b"\x54"
                else:
                    with pytest.raises(RunError, match="not measured"):
                        await clear
            await link.close()

        run_virtual(main)


class TestRecordedKLine(MessageLinkContract):
    """The recorder around it changes nothing of what a link promises."""

    origin = Origin.BENCH
    peer = 0x11
    nobody = 0x55
    request = bytes.fromhex("1A90")
    answer_head = bytes.fromhex("5A90")

    @pytest.fixture(autouse=True)
    def _folder(self, tmp_path: Any) -> None:
        self.folder = tmp_path

    def run(self, play: Any) -> None:
        async def main(clock: LoopClock) -> None:
            line = KLine(clock)
            car = KLineCar(line, clock)
            await clock.sleep_until(1.0)
            link = RecordingMessageLink(KLineLink(line, clock), clock, self.folder, "job")
            try:
                await play(link, car, clock)
            finally:
                await link.close()

        run_virtual(main)


class VehicleLine:
    """The bench's K-line, saying that it is a vehicle."""

    def __init__(self, line: KLine) -> None:
        self._line = line

    @property
    def origin(self) -> Origin:
        return Origin.VEHICLE

    def join(self, name: str, on_byte: Any, on_low: Any) -> Any:
        return self._line.join(name, on_byte, on_low)


@pytest.mark.full
class TestKLineOnASerialPort(MessageLinkContract):
    """In real time, over a pseudo-terminal that stands for the interface; the same contract runs in the loop above."""

    origin = Origin.VEHICLE
    peer = 0x11
    nobody = 0x55
    request = bytes.fromhex("1A90")
    answer_head = bytes.fromhex("5A90")

    def run(self, play: Any) -> None:
        async def main() -> None:
            clock = real_clock()
            line = KLine(clock, level_tolerance_s=0.1)
            car = KLineCar(line, clock)
            port = PtyLine(line)
            await clock.sleep_until(clock.now() + 0.5)
            link = KLineLink(SerialLine(port.path, clock), clock, name=f"kline:{port.path}")
            try:
                await play(link, car, clock)
            finally:
                await link.close()
                car.stop()
                port.close()

        asyncio.run(main())

    def test_a_port_that_is_not_there_is_no_bus(self) -> None:
        """The operating system's words, and no-bus."""

        async def main() -> None:
            clock = real_clock()
            with pytest.raises(LinkError) as caught:
                await KLineLink(SerialLine("/dev/no-such-port", clock), clock).open()
            assert caught.value.code is Code.NO_BUS

        asyncio.run(main())
