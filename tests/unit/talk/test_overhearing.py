"""Overheard traffic: who belongs to whom, what was said, what changed the car; frames from our own codec and bench."""

from __future__ import annotations

import asyncio
import random
from collections.abc import Iterable
from pathlib import Path

import pytest

from asleft.bench.bus import InLoopBus
from asleft.bench.bus_faults import background_load
from asleft.bench.cars.petrol import PetrolCar
from asleft.codec.isotp import IsoTpSession, as_module, normal
from asleft.job.clock import LoopClock, run_virtual
from asleft.job.listening import Heard, heard_lines, listen_to
from asleft.job.looking import look_at
from asleft.link.bus_link import BusLink
from asleft.link.listening import ListenOnly, listening_link
from asleft.model.errors import InputError, LinkError
from asleft.model.frame import CanFrame
from asleft.model.module import ModuleAddress, Picture
from asleft.model.reading import AbsenceKind
from asleft.practice.looking import look
from asleft.practice.scene import ALDRA
from asleft.talk.conversations import Conversations
from asleft.talk.overheard_words import changes, line
from asleft.talk.overhearing import HeardExchange, Overhearing
from kit.fake_module import FakeModule, open_link, receipt, table


def frames(request_id: int, response_id: int, talk: Iterable[tuple[str, str]], start_s: float = 0.0) -> list[CanFrame]:
    """The frames of requests and answers between a tester and a module, flow control included."""
    pair = normal(request_id, response_id)
    tester, module = IsoTpSession(pair), IsoTpSession(as_module(pair))
    out: list[CanFrame] = []
    now_s = start_s

    def run(first: IsoTpSession, second: IsoTpSession, payload: str) -> None:
        nonlocal now_s
        first.send(bytes.fromhex(payload), now_s)
        while moved := [(a, b, f) for a, b in ((first, second), (second, first)) for f in a.frames_to_send()]:
            for _, other, frame in moved:
                now_s += 0.001
                out.append(CanFrame(frame.id, frame.data, frame.extended, time_s=now_s))
                other.feed(frame, now_s)

    for request, answer in talk:
        run(tester, module, request)
        if answer:
            run(module, tester, answer)
    return out


def heard(traffic: Iterable[CanFrame]) -> tuple[list[HeardExchange], Overhearing]:
    hearing = Overhearing()
    found = [exchange for frame in traffic for exchange in hearing.feed(frame)]
    return found + hearing.finish(), hearing


def test_request_and_answer_are_paired_and_told_in_words() -> None:
    """A long answer, a refusal, response pending, a clear: who, what, what came of it, and the change marked."""
    talk = [
        ("22F187", "62F187" + b"ENG-1620-2".hex()),
        ("22F190", "7F2231"),
        ("14FFFFFF", "7F1478"),
        ("", "54"),
        ("1003", "5003003201F4"),
    ]
    traffic = frames(0x7E0, 0x7E8, talk[:3]) + frames(0x7E8, 0x7E0, [("54", "")], 0.5)
    found, _ = heard(traffic)
    text = [line(exchange) for exchange in found]
    assert "module 7E8 7E0/7E8  identifier F187 (part number): ENG-1620-2" in text[0]
    assert "refused with 31" in text[1]
    assert text[2].endswith("clear codes: done  <- clears")
    assert [changes(exchange) for exchange in found] == [False, False, True]


def test_keys_of_security_access_are_not_kept() -> None:
    """Seed and key went by; neither stands in what is kept or told."""
    found, _ = heard(frames(0x740, 0x748, [("2701", "6701A1B2C3D4"), ("2702DEADBEEF", "6702")]))
    assert len(found) == 2
    told = "".join(line(e) + e.request.hex() + e.answer.hex() for e in found).upper()
    assert not any(word in told for word in ("A1B2", "B2C3", "DEAD", "BEEF"))


def test_traffic_that_is_no_diagnosis_is_left_out() -> None:
    """Ten thousand frames of broadcasts that look like single frames now and then: no module is made up."""
    rng = random.Random(5)
    traffic = [
        CanFrame(rng.choice((0x120, 0x1A0, 0x2C4, 0x3D0)), rng.randbytes(8), time_s=n * 0.001) for n in range(10_000)
    ]
    found, hearing = heard(traffic)
    assert found == []
    assert hearing.modules == {}


def test_two_modules_asked_the_same_at_once_are_never_mixed_up() -> None:
    """Same request to two modules on identifiers nobody knows: told only once it is clear whose answer is whose."""
    one = frames(0x6B2, 0x6B3, [("22F187", "62F18741"), ("22F188", "62F188" + "41" * 20)])
    two = frames(0x6C4, 0x6B9, [("22F187", "62F18742"), ("22F18C", "62F18C42")])
    mixed = [frame for pair in zip(one, two, strict=False) for frame in pair] + one[len(two) :]
    found, hearing = heard(mixed)
    assert {(m.request_id, m.response_id) for m in hearing.modules.values()} == {(0x6B2, 0x6B3), (0x6C4, 0x6B9)}
    assert hearing.unclear == 0
    for exchange in found:
        assert {0x6B3: 0x41, 0x6B9: 0x42}[exchange.module.response_id] in exchange.answer


def test_what_stays_unclear_is_counted_not_guessed() -> None:
    """Both asked once, the same, and nothing more: neither answer is given to anybody."""
    one = frames(0x6B2, 0x6B3, [("22F187", "62F18741")])
    two = frames(0x6C4, 0x6B9, [("22F187", "62F18742")])
    found, hearing = heard([one[0], two[0], one[1], two[1]])
    assert found == []
    assert hearing.unclear == 2


def test_a_request_without_an_answer_says_so() -> None:
    """Of a module known by an earlier answer."""
    found, _ = heard(frames(0x740, 0x748, [("22F187", "62F18741"), ("31010203", "")]))
    assert line(found[-1]).endswith("start routine 0203: no answer heard  <- actuates")


def play_beside(load: float, seed: int = 3, tell: list[HeardExchange] | None = None) -> tuple[Heard, Picture]:
    """Our own look is the other tester; the listener sits beside it."""

    async def main(clock: LoopClock) -> tuple[Heard, Picture]:
        bus = InLoopBus(clock)
        car = PetrolCar(seed=seed)
        car.attach(bus, clock)
        car.act("key", position="on")
        await clock.sleep_until(3.0)
        if load:
            background_load(bus, clock, load)
        over = asyncio.Event()
        ear = ListenOnly(BusLink(bus, clock, node_name="listener"))
        task = asyncio.ensure_future(listen_to(ear, clock, (tell or []).append, stop=over))
        await clock.sleep_until(clock.now())
        picture = await look_at(BusLink(bus, clock), clock, ALDRA)
        over.set()
        result = await task
        car.detach()
        return result, picture

    return run_virtual(main)


@pytest.mark.parametrize("load", [0.0, 0.4])
def test_the_overheard_picture_is_the_other_tester_s(load: float) -> None:
    """What the other tester read, the listener knows: identification and live data, module by module, also on a busy
    bus."""
    result, picture = play_beside(load)
    theirs = {m.address.place: m for m in picture.modules}
    assert {m.address.place for m in result.picture.modules} == theirs.keys()
    for module in result.picture.modules:
        for key in ("part-number", "software-number", "serial-number", "system-name"):
            assert module.value(key) == theirs[module.address.place].value(key) != ""
    ours = {r.signal: r.value for r in result.picture.readings}
    assert ours == {r.signal: r.value for r in picture.readings if r.value is not None}
    assert result.changed == ()
    assert "nothing was sent" in heard_lines(result)[0]


def test_what_changed_the_car_comes_first_in_the_sum() -> None:
    """A cleared memory: marked, and the codes heard before it are no longer told as present."""

    async def main(clock: LoopClock) -> Heard:
        bus = InLoopBus(clock)
        engine = ModuleAddress("engine", 0x7E0, 0x7E8)
        FakeModule(bus, clock, engine, table({"1902 0D".replace(" ", ""): "5902FF0420000D", "14FFFFFF": "54"}))
        over = asyncio.Event()
        ear = ListenOnly(BusLink(bus, clock))
        task = asyncio.ensure_future(listen_to(ear, clock, lambda _: None, stop=over))
        await clock.sleep_until(clock.now())
        async with Conversations(await open_link(bus, clock), clock, lambda _: None) as talk:
            await talk.ask(engine, bytes.fromhex("19020D"))
            await talk.carry_out(receipt(engine, "14FFFFFF"))
        over.set()
        return await task

    result = run_virtual(main)
    assert [e.request for e in result.changed] == [bytes.fromhex("14FFFFFF")]
    assert result.picture.modules[0].codes == ()
    assert any("clears" in text for text in heard_lines(result))


class TestListenOnly:
    """By construction: there is nothing to send with."""

    def test_it_sends_nothing_whatever_is_asked_of_it(self) -> None:
        async def main(clock: LoopClock) -> list[CanFrame]:
            bus = InLoopBus(clock)
            others: list[CanFrame] = []
            bus.join("others", others.append)
            link = ListenOnly(BusLink(bus, clock))
            await link.open()
            with pytest.raises(LinkError, match="listen-only"):
                link.send(CanFrame(0x7DF, b"\x02\x01\x00"))
            async with Conversations(link, clock, lambda _: None) as talk:
                with pytest.raises(LinkError, match="listen-only"):
                    await talk.ask_everybody(b"\x01\x00")
            await clock.sleep_until(1.0)
            return others

        assert run_virtual(main) == []

    @pytest.mark.parametrize(
        "address", ["kline:/dev/ttyUSB0", "doip:10.0.0.1", "can:socketcan:can0?bitrate=500000", "can:slcan:x"]
    )
    def test_an_address_that_cannot_keep_silent_is_refused(self, address: str) -> None:
        """Messages, not frames; an interface that acknowledges; no bit rate."""

        async def main(clock: LoopClock) -> None:
            with pytest.raises(InputError):
                listening_link(address, clock)

        run_virtual(main)

    def test_the_interface_is_told_to_acknowledge_nothing(self) -> None:
        """``listen=1`` need not be written: it is set."""

        async def main(clock: LoopClock) -> None:
            assert "listen=1" in listening_link("can:slcan:/dev/ttyS9?bitrate=500000", clock).name

        run_virtual(main)


def test_a_saved_log_gives_the_same_picture_again(tmp_path: Path) -> None:
    """Listened, saved, played: look at the log finds the same modules and values; the origin is replay."""
    from asleft.practice.looking import listen

    first = listen("bench:petrol?seed=4", lambda _: None, save=(tmp_path, "beside"))
    for ending in ("asc", "blf", "log"):
        picture, origin = look(f"log:{tmp_path / 'beside'}.{ending}")
        assert origin == "replay"
        assert [m.address for m in picture.modules] == [m.address for m in first.picture.modules]
        assert [m.identification for m in picture.modules] == [m.identification for m in first.picture.modules]
    missing = [i for m in first.picture.modules for i in m.identification if i.absence]
    assert all(i.absence is not None and i.absence.kind is AbsenceKind.NOT_READ for i in missing)
