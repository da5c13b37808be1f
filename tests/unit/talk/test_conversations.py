"""Conversations against scripted modules (can-isotp) on the bit-timed bus, in virtual time."""

from __future__ import annotations

import asyncio
import itertools
from collections.abc import Callable, Coroutine
from typing import Any

import pytest

from asleft.bench.bus import InLoopBus
from asleft.codec.answer import AnswerMalformed
from asleft.job.clock import LoopClock, run_virtual
from asleft.model.errors import Code, LinkError, ModuleError
from asleft.model.module import ModuleAddress
from asleft.talk.conversations import Conversations
from asleft.talk.errors import LinkBusy, ModuleRefused, ModuleSilent
from asleft.talk.settings import TalkSettings
from kit.fake_module import BODY, BRAKES, ENGINE, FakeModule, Script, Tap, in_turn, open_link, silent, table

READ = bytes.fromhex("22F190")
VIN = "62F1903154384247314142355345303030303137"


class Car:
    """A bus with one link, one conversation and scripted modules."""

    def __init__(self, clock: LoopClock, bus: InLoopBus, talk: Conversations) -> None:
        self.clock, self.bus, self.talk = clock, bus, talk
        self.tap = Tap(bus)

    def module(self, address: ModuleAddress, script: Script, **more: Any) -> FakeModule:
        return FakeModule(self.bus, self.clock, address, script, **more)


def play(work: Callable[[Car], Coroutine[Any, Any, None]], settings: TalkSettings | None = None) -> None:
    async def main(clock: LoopClock) -> None:
        bus = InLoopBus(clock)
        link = await open_link(bus, clock)
        async with Conversations(link, clock, lambda _: None, settings=settings or TalkSettings()) as talk:
            await work(Car(clock, bus, talk))

    run_virtual(main)


def test_short_and_long_answers_come_back_whole() -> None:
    """A single frame and a long message with flow control."""
    long = "62F187" + bytes(range(256)).hex().upper()

    async def work(car: Car) -> None:
        car.module(ENGINE, table({"22F190": VIN, "22F187": long, "3E00": "7E00"}))
        assert await car.talk.ask(ENGINE, READ) == bytes.fromhex(VIN)
        assert (await car.talk.ask(ENGINE, bytes.fromhex("22F187"))).hex().upper() == long
        assert await car.talk.ask(ENGINE, b"\x3e\x00") == b"\x7e\x00"

    play(work)


def test_a_long_request_goes_out_whole() -> None:
    """Twenty identifiers in one request take flow control of the module."""
    request = "22" + "".join(f"F1{n:02X}" for n in range(20))

    async def work(car: Car) -> None:
        engine = car.module(ENGINE, table({request: "62F10001"}), block_size=2, stmin=5)
        assert await car.talk.ask(ENGINE, bytes.fromhex(request)) == bytes.fromhex("62F10001")
        assert engine.requests == [request]

    play(work)


@pytest.mark.parametrize("limit", [1, 2, 4])
def test_no_more_requests_are_on_their_way_than_the_limit(limit: int) -> None:
    """Eight modules are asked at once; never more than the limit wait for their answers."""

    async def work(car: Car) -> None:
        now = most = 0

        def slow(request: bytes) -> list[tuple[float, bytes]]:
            nonlocal now, most
            now += 1
            most = max(most, now)
            car.clock.call_at(car.clock.now() + 0.03, done)
            return [(0.03, bytes.fromhex("7E00"))]

        def done() -> None:
            nonlocal now
            now -= 1

        addresses = [ModuleAddress(f"m{n}", 0x700 + n, 0x708 + n) for n in range(8)]
        for address in addresses:
            car.module(address, slow)
        answers = await asyncio.gather(*(car.talk.ask(a, b"\x3e\x00") for a in addresses))
        assert answers == [b"\x7e\x00"] * 8
        assert most == limit

    play(work, TalkSettings(in_flight=limit))


def test_one_module_gets_one_request_at_a_time() -> None:
    """Requests to one module wait for each other, whatever the limit, and keep their order."""

    async def work(car: Car) -> None:
        engine = car.module(ENGINE, lambda r: [(0.02, bytes((r[0] + 0x40,)) + r[1:] + b"\x55")])
        asked = [bytes((0x22, 0xF1, n)) for n in range(6)]
        answers = await asyncio.gather(*(car.talk.ask(ENGINE, request) for request in asked))
        assert [a[2] for a in answers] == list(range(6))
        times = [t for t, _ in engine.heard]
        assert all(b - a > 0.02 for a, b in itertools.pairwise(times))

    play(work, TalkSettings(in_flight=4))


class TestPending:
    def test_response_pending_extends_the_wait(self) -> None:
        """Three times 78 with three seconds between, then the answer: taken, asked once."""

        async def work(car: Car) -> None:
            rounds = [(0.02, "7F2278"), (3.0, "7F2278"), (6.0, "7F2278"), (9.0, VIN)]
            engine = car.module(ENGINE, lambda _: [(t, bytes.fromhex(x)) for t, x in rounds])
            assert await car.talk.ask(ENGINE, READ) == bytes.fromhex(VIN)
            assert len(engine.heard) == 1

        play(work)

    def test_pending_without_end_is_bounded(self) -> None:
        """A module that says 78 for ever ends in module-silent at the bound; it is not asked again."""

        async def work(car: Car) -> None:
            engine = car.module(ENGINE, lambda _: [(0.01 + n * 0.5, bytes.fromhex("7F2278")) for n in range(1000)])
            with pytest.raises(ModuleSilent) as caught:
                await car.talk.ask(ENGINE, READ)
            assert car.clock.now() == pytest.approx(60.0, abs=0.01)
            assert caught.value.pending == 120
            assert "working" in caught.value.sentence()
            assert len(engine.heard) == 1

        play(work)

    def test_silence_after_pending_ends_after_p2_star(self) -> None:
        """78 and then nothing: P2* and the margin later it is over, and it is not asked again."""

        async def work(car: Car) -> None:
            engine = car.module(ENGINE, table({"22F190": "7F2278"}))
            with pytest.raises(ModuleSilent):
                await car.talk.ask(ENGINE, READ)
            assert 5.0 < car.clock.now() < 5.5
            assert len(engine.heard) == 1

        play(work)


class TestBusy:
    def test_busy_is_asked_again_after_a_pause(self) -> None:
        """Twice 21, then the answer."""

        async def work(car: Car) -> None:
            engine = car.module(ENGINE, in_turn([(0.01, "7F2221")], [(0.01, "7F2221")], [(0.01, VIN)]))
            assert await car.talk.ask(ENGINE, READ) == bytes.fromhex(VIN)
            gaps = [b - a for (a, _), (b, _) in zip(engine.heard, engine.heard[1:], strict=False)]
            assert len(gaps) == 2
            assert gaps[0] > 0.1
            assert gaps[1] > 0.2

        play(work)

    def test_busy_without_end_is_bounded(self) -> None:
        """Six requests in all, then a refusal with code 21."""

        async def work(car: Car) -> None:
            engine = car.module(ENGINE, in_turn([(0.01, "7F2221")]))
            with pytest.raises(ModuleRefused) as caught:
                await car.talk.ask(ENGINE, READ)
            assert caught.value.refusal == 0x21
            assert len(engine.heard) == 6

        play(work)


class TestSilence:
    def test_a_silent_module_is_asked_once_more_and_then_named(self) -> None:
        """Two requests, one error that names module and request, in well under a second."""

        async def work(car: Car) -> None:
            engine = car.module(ENGINE, silent)
            with pytest.raises(ModuleSilent) as caught:
                await car.talk.ask(ENGINE, READ)
            assert engine.requests == ["22F190", "22F190"]
            assert caught.value.code is Code.MODULE_SILENT
            assert "engine 7E0/7E8" in caught.value.sentence()
            assert "22F190" in caught.value.sentence()
            assert car.clock.now() < 0.7

        play(work)

    def test_a_lost_answer_costs_one_retry(self) -> None:
        """The second request is answered: the caller sees nothing of it."""

        async def work(car: Car) -> None:
            engine = car.module(ENGINE, in_turn([], [(0.01, VIN)]))
            assert await car.talk.ask(ENGINE, READ) == bytes.fromhex(VIN)
            assert len(engine.heard) == 2

        play(work)

    def test_the_caller_s_deadline_holds(self) -> None:
        """With 20 ms, it is over after 20 ms."""

        async def work(car: Car) -> None:
            car.module(ENGINE, silent)
            with pytest.raises(ModuleSilent):
                await car.talk.ask(ENGINE, READ, deadline_s=0.02)
            assert car.clock.now() == pytest.approx(0.02, abs=1e-6)

        play(work)

    def test_who_does_not_get_a_turn_in_time_hears_that_nobody_was_asked(self) -> None:
        """Behind a slow request, a short deadline ends in link-busy, and nothing goes out."""

        async def work(car: Car) -> None:
            car.module(ENGINE, in_turn([(0.01, "7F2278"), (4.0, VIN)]))
            brakes = car.module(BRAKES, table({"22F190": VIN}))
            slow = asyncio.ensure_future(car.talk.ask(ENGINE, READ))
            await car.clock.sleep_until(0.05)
            with pytest.raises(LinkBusy):
                await car.talk.ask(BRAKES, READ, deadline_s=0.5)
            assert car.clock.now() == pytest.approx(0.55)
            assert brakes.heard == []
            await slow
            assert await car.talk.ask(BRAKES, READ) == bytes.fromhex(VIN)

        play(work, TalkSettings(in_flight=1))


class TestRefusal:
    def test_a_refusal_carries_its_code_and_plain_words_and_is_not_repeated(self) -> None:
        """22 to a read: one request, the code, the module's name and the words of the refusal."""

        async def work(car: Car) -> None:
            engine = car.module(ENGINE, table({"22F190": "7F2284"}))
            with pytest.raises(ModuleError) as caught:
                await car.talk.ask(ENGINE, READ)
            error = caught.value
            assert isinstance(error, ModuleRefused)
            assert error.refusal == 0x84
            assert error.code is Code.MODULE_REFUSED
            assert "engine is not running" in error.sentence()
            assert engine.requests == ["22F190"]

        play(work)


class TestForeignAnswers:
    def test_answers_of_other_modules_services_and_identifiers_are_not_taken(self) -> None:
        """Around the true answer stand wrong ones; only the true one comes back."""

        async def work(car: Car) -> None:
            brakes = car.module(BRAKES, silent)

            def liar(request: bytes) -> list[tuple[float, bytes]]:
                brakes.raw("0462F190AA")
                wrong = ["62F187AA", "7F1922", "5003003201F4", "41057B", "7E00", "7F227878"[:6]]
                return [(0.002 * (n + 1), bytes.fromhex(x)) for n, x in enumerate([*wrong, VIN])]

            car.module(ENGINE, liar)
            assert await car.talk.ask(ENGINE, READ) == bytes.fromhex(VIN)

        play(work)

    def test_an_answer_that_is_too_short_is_malformed(self) -> None:
        """62 F1 without the rest: said at once, not waited for."""

        async def work(car: Car) -> None:
            car.module(ENGINE, table({"22F190": "62F1"}))
            with pytest.raises(AnswerMalformed):
                await car.talk.ask(ENGINE, READ)
            assert car.clock.now() < 0.1

        play(work)

    def test_an_answer_that_was_there_before_the_question_is_not_taken(self) -> None:
        """Frames that come while nothing was asked are no answers to the next request."""

        async def work(car: Car) -> None:
            engine = car.module(ENGINE, table({"22F187": "62F18702"}))
            await car.talk.ask(ENGINE, bytes.fromhex("22F187"))
            engine.raw("0462F18701")
            await car.clock.sleep_until(car.clock.now() + 0.01)
            assert await car.talk.ask(ENGINE, bytes.fromhex("22F187")) == bytes.fromhex("62F18702")

        play(work)

    def test_a_late_answer_is_not_taken_for_the_next_one(self) -> None:
        """A value that comes after its request was given up does not stand in for a newer one."""

        async def work(car: Car) -> None:
            car.module(ENGINE, in_turn([(0.9, "410C0001")], [(0.8, "410C0002")], [(0.01, "410C0003")]))
            with pytest.raises(ModuleSilent):
                await car.talk.ask(ENGINE, bytes.fromhex("010C"))
            assert await car.talk.ask(ENGINE, bytes.fromhex("010C")) == bytes.fromhex("410C0003")

        play(work)

    def test_a_late_answer_does_not_delay_other_questions(self) -> None:
        """Another identifier cannot be confused with the late one: it is asked at once."""

        async def work(car: Car) -> None:
            car.module(ENGINE, in_turn([(0.9, "410C0001")], [], [(0.01, "410D20")]))
            with pytest.raises(ModuleSilent):
                await car.talk.ask(ENGINE, bytes.fromhex("010C"))
            given_up_s = car.clock.now()
            assert await car.talk.ask(ENGINE, bytes.fromhex("010D")) == bytes.fromhex("410D20")
            assert car.clock.now() - given_up_s < 0.05

        play(work)

    def test_doubled_frames_change_nothing(self) -> None:
        """Every frame comes twice: answers are whole and belong to their questions."""

        async def work(car: Car) -> None:
            car.bus.faults.doubled = 1.0
            car.module(ENGINE, lambda r: [(0.004, bytes((r[0] + 0x40,)) + r[1:] + bytes((r[2], 0x55)))])
            for n in range(20):
                answer = await car.talk.ask(ENGINE, bytes((0x22, 0xF1, n)))
                assert answer == bytes((0x62, 0xF1, n, n, 0x55))

        play(work)


class TestSuppressedAnswers:
    def test_no_answer_is_success_where_the_request_asks_for_none(self) -> None:
        """3E 80: empty bytes after P2, asked once."""

        async def work(car: Car) -> None:
            engine = car.module(ENGINE, silent)
            assert await car.talk.ask(ENGINE, b"\x3e\x80") == b""
            assert engine.requests == ["3E80"]

        play(work)

    def test_a_refusal_still_comes_through(self) -> None:
        """3E 80 refused: the refusal is raised."""

        async def work(car: Car) -> None:
            car.module(ENGINE, table({}))
            with pytest.raises(ModuleRefused):
                await car.talk.ask(ENGINE, b"\x3e\x80")

        play(work)


class TestSessions:
    def test_tester_present_keeps_a_session_and_closing_ends_it(self) -> None:
        """After 10 03 there is a 3E 80 at least every 2.5 s, and 10 01 at the end; then nothing more."""

        async def work(car: Car) -> None:
            answers = {"1003": "5003003201F4", "1001": "5001003201F4"}
            engine = car.module(ENGINE, table(answers))
            await car.talk.open_session(ENGINE, 0x03)
            await car.clock.sleep_until(20.0)
            await car.talk.close_sessions()
            await car.clock.sleep_until(40.0)
            assert set(engine.requests[1:-1]) == {"3E80"}
            assert engine.requests[-1] == "1001"
            times = [t for t, _ in engine.heard]
            assert max(b - a for a, b in itertools.pairwise(times)) <= 2.5

        play(work)

    def test_no_tester_present_into_a_running_request(self) -> None:
        """While the module works on a request it hears nothing else."""

        async def work(car: Car) -> None:
            def script(request: bytes) -> list[tuple[float, bytes]]:
                if request == READ:
                    return [(0.01, bytes.fromhex("7F2278")), (4.5, bytes.fromhex(VIN))]
                return [(0.01, bytes((request[0] + 0x40, request[1])) + bytes.fromhex("003201F4"))]

            engine = car.module(ENGINE, script)
            await car.talk.open_session(ENGINE, 0x03)
            await car.talk.ask(ENGINE, READ)
            assert engine.requests == ["1003", "22F190"]

        play(work)

    def test_leaving_closes_sessions_of_all_modules_even_silent_ones(self) -> None:
        """One answers, one has gone: no error, both were told, and the time is bounded."""

        async def work(car: Car) -> None:
            answers = {"1003": "5003003201F4", "1001": "5001003201F4"}
            engine, body = car.module(ENGINE, table(answers)), car.module(BODY, table(answers))
            await car.talk.open_session(ENGINE, 0x03)
            await car.talk.open_session(BODY, 0x03)
            body.gone = True
            begun_s = car.clock.now()
            await car.talk.close_sessions()
            assert car.clock.now() - begun_s < 1.5
            assert engine.requests[-1] == "1001"
            assert "021001CCCCCCCCCC" in car.tap.sent(0x740)

        play(work)

    def test_a_session_whose_answer_was_lost_is_closed_too(self) -> None:
        """10 03 without an answer may have worked: 10 01 goes out."""

        async def work(car: Car) -> None:
            engine = car.module(ENGINE, silent)
            with pytest.raises(ModuleSilent):
                await car.talk.open_session(ENGINE, 0x03)
            await car.talk.close_sessions()
            assert engine.requests[-1] == "1001"

        play(work)

    def test_the_module_s_own_times_count_once_it_said_them(self) -> None:
        """P2 of 800 ms in the session's answer: an answer after 700 ms is in time."""

        async def work(car: Car) -> None:
            engine = car.module(ENGINE, in_turn([(0.01, "5003032001F4")], [(0.7, VIN)]))
            await car.talk.open_session(ENGINE, 0x03)
            assert await car.talk.ask(ENGINE, READ) == bytes.fromhex(VIN)
            assert len(engine.heard) == 2

        play(work)

    def test_cancelling_leaves_sessions_closed(self) -> None:
        """A task that is cancelled in the middle of a request leaves the module in its default session."""

        async def main(clock: LoopClock) -> list[str]:
            bus = InLoopBus(clock)
            link = await open_link(bus, clock)
            answers = {"1003": "5003003201F4", "1001": "5001003201F4", "22F190": "7F2278"}
            engine = FakeModule(bus, clock, ENGINE, table(answers))

            async def job() -> None:
                async with Conversations(link, clock, lambda _: None) as talk:
                    await talk.open_session(ENGINE, 0x03)
                    await talk.ask(ENGINE, READ)

            task = asyncio.ensure_future(job())
            await clock.sleep_until(0.5)
            task.cancel()
            with pytest.raises(asyncio.CancelledError):
                await task
            await clock.sleep_until(10.0)
            return engine.requests

        assert run_virtual(main) == ["1003", "22F190", "1001"]


class TestCancellation:
    def test_a_cancelled_request_frees_the_module_and_the_link(self) -> None:
        """The next request is answered; the late answer of the cancelled one is not taken for it."""

        async def work(car: Car) -> None:
            car.module(ENGINE, in_turn([(0.06, "410C0001")], [(0.01, "410C0002")]))
            task = asyncio.ensure_future(car.talk.ask(ENGINE, bytes.fromhex("010C")))
            await car.clock.sleep_until(0.02)
            task.cancel()
            with pytest.raises(asyncio.CancelledError):
                await task
            assert await car.talk.ask(ENGINE, bytes.fromhex("010C")) == bytes.fromhex("410C0002")
            assert car.talk.turns.taken == 0

        play(work, TalkSettings(in_flight=1))

    def test_those_who_wait_can_be_cancelled(self) -> None:
        """Cancelled in the queue: nobody else is held up."""

        async def work(car: Car) -> None:
            engine = car.module(ENGINE, lambda r: [(0.02, bytes((r[0] + 0x40,)) + r[1:] + b"\x55")])
            tasks = [asyncio.ensure_future(car.talk.ask(ENGINE, bytes((0x22, 0xF1, n)))) for n in range(4)]
            await car.clock.sleep_until(0.005)
            tasks[1].cancel()
            tasks[2].cancel()
            done = await asyncio.gather(*tasks, return_exceptions=True)
            assert [isinstance(d, bytes) for d in done] == [True, False, False, True]
            assert engine.requests == ["22F100", "22F103"]

        play(work, TalkSettings(in_flight=1))


class TestLoss:
    def test_bus_off_ends_what_is_under_way_and_what_comes_after(self) -> None:
        """A link that goes bus off: link-lost within its time, never a hang."""

        async def work(car: Car) -> None:
            car.module(ENGINE, silent)
            task = asyncio.ensure_future(car.talk.ask(ENGINE, READ))
            await car.clock.sleep_until(0.05)
            car.bus.set_bus_off("tester")
            with pytest.raises((LinkError, ModuleSilent)):
                await task
            with pytest.raises(LinkError) as caught:
                await car.talk.ask(ENGINE, READ)
            assert caught.value.code is Code.LINK_LOST

        play(work)


class TestEverybody:
    def test_all_who_answer_are_heard_long_answers_too(self) -> None:
        """Two OBD modules of three answer 09 02, one with 78 first; the third keeps silent."""
        first = "490201" + "31" * 17
        second = "490201" + "32" * 17

        async def work(car: Car) -> None:
            car.module(ENGINE, table({"0902": first}))
            car.module(BRAKES, lambda _: [(0.01, bytes.fromhex("7F0978")), (1.5, bytes.fromhex(second))])
            car.module(ModuleAddress("m", 0x7E2, 0x7EA), silent)
            found = await car.talk.ask_everybody(bytes.fromhex("0902"))
            assert {a.response_id: x.hex() for a, x in found.items() if isinstance(x, bytes)} == {
                0x7E8: first.lower(),
                0x7E9: second.lower(),
            }
            assert car.tap.sent(0x7DF) == ["020902CCCCCCCCCC"]
            assert await car.talk.ask(BRAKES, bytes.fromhex("0902")) == bytes.fromhex(second)

        play(work)

    def test_names_known_before_stay(self) -> None:
        """A module that was asked by name before answers under this name."""

        async def work(car: Car) -> None:
            car.module(ENGINE, table({"0100": "4100BE3FA813"}))
            await car.talk.ask(ENGINE, bytes.fromhex("0100"))
            found = await car.talk.ask_everybody(bytes.fromhex("0100"))
            assert list(found) == [ENGINE]

        play(work)

    def test_wide_identifiers(self) -> None:
        """18DB33F1 is answered from 18DAF1xx; requests to it go to 18DAxxF1."""
        wide = ModuleAddress("module 10", 0x18DA10F1, 0x18DAF110, extended=True)

        async def work(car: Car) -> None:
            car.module(wide, table({"0100": "4100BE3FA813"}), functional=(0x18DB33F1,))
            found = await car.talk.ask_everybody(bytes.fromhex("0100"), wide=True)
            assert found == {wide: bytes.fromhex("4100BE3FA813")}
            assert await car.talk.ask(wide, bytes.fromhex("0100")) == bytes.fromhex("4100BE3FA813")

        play(work)

    def test_nobody_is_an_empty_answer_in_time(self) -> None:
        """No module: nothing, in a third of a second."""

        async def work(car: Car) -> None:
            assert await car.talk.ask_everybody(bytes.fromhex("0100")) == {}
            assert car.clock.now() < 0.35

        play(work)


class TestQuiet:
    def test_nothing_goes_out_while_it_is_held(self) -> None:
        """Requests wait, tester present stops; afterwards both go on."""

        async def work(car: Car) -> None:
            answers = {"1003": "5003003201F4", "1001": "5001003201F4", "22F190": VIN}
            engine = car.module(ENGINE, table(answers))
            await car.talk.open_session(ENGINE, 0x03)
            async with car.talk.quiet():
                waiting = asyncio.ensure_future(car.talk.ask(ENGINE, READ))
                await car.clock.sleep_until(8.0)
                assert engine.requests == ["1003"]
            assert await waiting == bytes.fromhex(VIN)
            await car.clock.sleep_until(12.0)
            assert "3E80" in engine.requests

        play(work)
