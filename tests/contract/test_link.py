"""What every link does, whatever it moves frames over. One class; a subclass per link.

``HearingContract`` is what every link promises, ``LinkContract`` what those promise that can also send. ``kind`` is the
kind of address that leads to the link, where one does: ``test_links_listed`` compares them with what is listed.
"""

from __future__ import annotations

import asyncio
import inspect
import itertools
import os
from collections.abc import Callable, Coroutine, Sequence
from typing import Any

import can
import pytest

from asleft.bench.bus import InLoopBus
from asleft.job.clock import LoopClock, real_clock, run_virtual
from asleft.link.address import make_link
from asleft.link.bus_link import BusLink
from asleft.link.listening import ListenOnly
from asleft.link.python_can import PythonCanBus
from asleft.link.recorder import RecordingLink
from asleft.model.errors import Code, LinkError
from asleft.model.frame import CanFrame
from asleft.model.origin import Origin
from asleft.ports.bus import Bus, BusNode, Link, Listener

A_FRAME = CanFrame(0x7E0, bytes.fromhex("023E00CCCCCCCCCC"))
WIDE = CanFrame(0x18DA10F1, bytes.fromhex("0322F190"), extended=True)
SHORT = CanFrame(0x7DF, b"")


class OtherSide:
    """Somebody else on the same bus: says what it was given to say, when told."""

    def __init__(self, says: Sequence[CanFrame] = ()) -> None:
        self.heard: list[CanFrame] = []
        self.node: BusNode | None = None
        self.says = says

    def join(self, bus: Bus) -> OtherSide:
        self.node = bus.join("other", self.heard.append)
        return self

    def send(self, frame: CanFrame) -> None:
        assert self.node is not None
        self.node.send(frame)

    def say(self, first: int = 0, end: int | None = None) -> None:
        """Say it all, or a part of it; a log says everything by itself."""
        for frame in self.says[first:end]:
            self.send(frame)


class Recorded(OtherSide):
    """What stands in a log: nobody can be told anything."""

    def send(self, frame: CanFrame) -> None:
        """It plays by itself."""


Play = Callable[[Link, OtherSide, LoopClock], Coroutine[Any, Any, None]]


def bare(frames: list[CanFrame]) -> list[tuple[int, bytes, bool]]:
    return [(f.id, f.data, f.extended) for f in frames]


class HearingContract:
    """What ports.bus.Link promises of every link, one that can never send too."""

    origin: Origin
    kind = ""

    def run(self, play: Play, says: Sequence[CanFrame] = ()) -> None:
        raise NotImplementedError

    async def until(self, clock: LoopClock, ready: Callable[[], bool], longest_s: float = 3.0) -> None:
        end_s = clock.now() + longest_s
        while not ready() and clock.now() < end_s:
            await clock.sleep_until(clock.now() + 0.002)

    def test_hears_the_others_with_the_time_of_receipt(self) -> None:
        """Frames come in unchanged, in order, with times on the link's clock that do not go back."""
        says = [CanFrame(0x7E8, bytes((n,))) for n in range(10)] + [WIDE]

        async def play(link: Link, other: OtherSide, clock: LoopClock) -> None:
            heard: list[CanFrame] = []
            begin_s = clock.now()
            await link.open()
            link.listen(heard.append)
            other.say()
            await self.until(clock, lambda: len(heard) >= len(says))
            assert bare(heard) == bare(says)
            times = [f.time_s for f in heard]
            assert all(t is not None and begin_s <= t <= clock.now() for t in times)
            assert all(a <= b for a, b in itertools.pairwise(t for t in times if t is not None))

        self.run(play, says)

    def test_every_listener_hears_until_it_stops(self) -> None:
        """Two listeners hear the same; one that stopped hears no more; stopping twice is harmless."""

        async def play(link: Link, other: OtherSide, clock: LoopClock) -> None:
            first: list[CanFrame] = []
            second: list[CanFrame] = []
            await link.open()
            stop = link.listen(first.append)
            link.listen(lambda frame: (second.append(frame), stop(), stop()))
            other.say(0, 1)
            await self.until(clock, lambda: bool(second))
            other.say(1)
            await self.until(clock, lambda: len(second) == 2)
            assert bare(first) == bare([A_FRAME])
            assert bare(second) == bare([A_FRAME, WIDE])

        self.run(play, [A_FRAME, WIDE])

    def test_closed_it_sends_nothing_and_hears_nothing(self) -> None:
        """Before open and after close, sending is a typed error and nobody hears; closing twice is harmless."""

        async def play(link: Link, other: OtherSide, clock: LoopClock) -> None:
            heard: list[CanFrame] = []
            link.listen(heard.append)
            with pytest.raises(LinkError) as before:
                link.send(A_FRAME)
            await link.open()
            await link.close()
            await link.close()
            with pytest.raises(LinkError) as after:
                link.send(A_FRAME)
            other.say()
            await clock.sleep_until(clock.now() + 0.02)
            assert other.heard == []
            assert heard == []
            assert {before.value.code, after.value.code} <= {Code.LINK_LOST, Code.LISTEN_ONLY}

        self.run(play, [WIDE])

    def test_can_be_opened_again_to_hear(self) -> None:
        """After closing, it hears again."""

        async def play(link: Link, other: OtherSide, clock: LoopClock) -> None:
            heard: list[CanFrame] = []
            await link.open()
            await link.close()
            await link.open()
            link.listen(heard.append)
            other.say()
            await self.until(clock, lambda: bool(heard))
            assert bare(heard) == bare([WIDE])

        self.run(play, [WIDE])

    def test_says_its_origin_and_nobody_can_change_it(self) -> None:
        """The origin is what the link is made of: no argument, no attribute sets it."""

        async def play(link: Link, other: OtherSide, clock: LoopClock) -> None:
            assert link.origin is self.origin
            with pytest.raises(AttributeError):
                link.origin = Origin.VEHICLE  # type: ignore[misc]
            assert "origin" not in inspect.signature(type(link)).parameters
            assert link.name

        self.run(play)


class LinkContract(HearingContract):
    """What ports.bus.Link promises of a link that can also send."""

    def test_carries_frames_out_unchanged_and_in_order(self) -> None:
        """What is sent arrives at the others: identifier, width, bytes, order."""

        async def play(link: Link, other: OtherSide, clock: LoopClock) -> None:
            await link.open()
            sent = [CanFrame(0x7E0, bytes((n, 0xFF - n))) for n in range(20)] + [WIDE, SHORT]
            for frame in sent:
                link.send(frame)
            await self.until(clock, lambda: len(other.heard) >= len(sent))
            assert bare(other.heard) == bare(sent)

        self.run(play)

    def test_does_not_hear_itself(self) -> None:
        """Own frames do not come back as received ones."""

        async def play(link: Link, other: OtherSide, clock: LoopClock) -> None:
            heard: list[CanFrame] = []
            await link.open()
            link.listen(heard.append)
            link.send(A_FRAME)
            await self.until(clock, lambda: bool(other.heard))
            other.say()
            await self.until(clock, lambda: bool(heard))
            assert bare(heard) == bare([WIDE])

        self.run(play, [WIDE])

    def test_sends_nothing_unless_open(self) -> None:
        """Before open and after close: link-lost."""

        async def play(link: Link, other: OtherSide, clock: LoopClock) -> None:
            with pytest.raises(LinkError) as before:
                link.send(A_FRAME)
            await link.open()
            await link.close()
            with pytest.raises(LinkError) as after:
                link.send(A_FRAME)
            assert before.value.code is after.value.code is Code.LINK_LOST

        self.run(play)

    def test_can_be_opened_again(self) -> None:
        """After closing, it works again."""

        async def play(link: Link, other: OtherSide, clock: LoopClock) -> None:
            await link.open()
            await link.close()
            await link.open()
            link.send(A_FRAME)
            await self.until(clock, lambda: bool(other.heard))
            assert bare(other.heard) == bare([A_FRAME])

        self.run(play)


class QuietBus:
    """The least that a Bus can be: delivers in the next turn of the loop, stamps no time, tells nothing."""

    def __init__(self) -> None:
        self.nodes: list[tuple[object, Listener]] = []

    @property
    def origin(self) -> Origin:
        return Origin.REPLAY

    def join(self, name: str, listener: Listener) -> BusNode:
        bus, entry = self, (object(), listener)

        class Node:
            def send(self, frame: CanFrame) -> None:
                for other in [e for e in bus.nodes if e is not entry]:
                    asyncio.get_running_loop().call_soon(other[1], frame)

            def leave(self) -> None:
                bus.nodes.remove(entry)

        self.nodes.append(entry)
        return Node()


class TestBusLinkOnTheLeastBus(LinkContract):
    origin = Origin.REPLAY

    def run(self, play: Play, says: Sequence[CanFrame] = ()) -> None:
        async def main(clock: LoopClock) -> None:
            bus = QuietBus()
            await play(BusLink(bus, clock), OtherSide(says).join(bus), clock)

        run_virtual(main)


class TestBusLinkOnTheBenchBus(LinkContract):
    origin = Origin.BENCH

    def run(self, play: Play, says: Sequence[CanFrame] = ()) -> None:
        async def main(clock: LoopClock) -> None:
            bus = InLoopBus(clock)
            await play(BusLink(bus, clock), OtherSide(says).join(bus), clock)

        run_virtual(main)


class TestRecordingLink(LinkContract):
    origin = Origin.BENCH

    @pytest.fixture(autouse=True)
    def _folder(self, tmp_path: Any) -> None:
        self.folder = tmp_path

    def run(self, play: Play, says: Sequence[CanFrame] = ()) -> None:
        async def main(clock: LoopClock) -> None:
            bus = InLoopBus(clock)
            link = RecordingLink(BusLink(bus, clock), clock, self.folder, "job")
            try:
                await play(link, OtherSide(says).join(bus), clock)
            finally:
                await link.close()

        run_virtual(main)


class TestListenOnly(HearingContract):
    """The wrapper that cannot send, on the bench's bus."""

    origin = Origin.BENCH

    def run(self, play: Play, says: Sequence[CanFrame] = ()) -> None:
        async def main(clock: LoopClock) -> None:
            bus = InLoopBus(clock)
            await play(ListenOnly(BusLink(bus, clock)), OtherSide(says).join(bus), clock)

        run_virtual(main)


class TestFrameLog(HearingContract):
    """A log that python-can's own writer wrote, played as a link; in virtual time."""

    origin = Origin.REPLAY
    kind = "log:"
    ending = "log"

    @pytest.fixture(autouse=True)
    def _folder(self, tmp_path: Any) -> None:
        self.path = tmp_path / f"frames.{self.ending}"

    def run(self, play: Play, says: Sequence[CanFrame] = ()) -> None:
        with can.Logger(self.path) as log:
            for number, frame in enumerate(says):
                log.on_message_received(
                    can.Message(
                        timestamp=1000.0 + number * 0.001,
                        arbitration_id=frame.id,
                        is_extended_id=frame.extended,
                        data=frame.data,
                    )
                )

        async def main(clock: LoopClock) -> None:
            link = make_link(f"log:{self.path}", clock)
            try:
                await play(link, Recorded(), clock)
            finally:
                await link.close()

        run_virtual(main)


class TestFrameLogAsc(TestFrameLog):
    ending = "asc"


class TestFrameLogBlf(TestFrameLog):
    ending = "blf"


_CHANNELS = itertools.count()


class TestPythonCanVirtual(LinkContract):
    """python-can's in-process interface, in real time: the threads are real."""

    origin = Origin.VEHICLE
    kind = "can:"
    address = "can:virtual:asleft-contract-{n}?bitrate=500000"

    def run(self, play: Play, says: Sequence[CanFrame] = ()) -> None:
        async def main() -> None:
            clock = real_clock()
            number = next(_CHANNELS)
            address = self.address.format(n=number, port=20_000 + (os.getpid() * 16 + number) % 40_000)
            link = make_link(address, clock)
            _, interface, rest = address.split(":", 2)
            channel, _, query = rest.partition("?")
            options = {"port": int(query.rpartition("=")[2])} if "port" in query else {}
            far = PythonCanBus(interface, channel, 500_000, clock, options=options)
            await far.open()
            try:
                await play(link, OtherSide(says).join(far), clock)
            finally:
                await link.close()
                await far.close()

        asyncio.run(main())


class TestPythonCanMulticast(TestPythonCanVirtual):
    """python-can's loopback interface, which works across processes and hears its own frames: filtered out."""

    address = "can:udp_multicast:239.74.163.2?bitrate=500000&option.port={port}"
