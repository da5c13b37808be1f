"""Live signals over scripted modules and the bench car: values, times, absences, grouping, quality."""

from __future__ import annotations

import asyncio
import math
from collections.abc import Callable, Coroutine
from typing import Any

import pytest

from asleft.bench.bus import InLoopBus
from asleft.bench.cars.petrol import PetrolCar
from asleft.job.clock import LoopClock, run_virtual
from asleft.live.catalogue import CATALOGUE
from asleft.live.mapped import MappedSignal
from asleft.live.sampler import LinkSignals
from asleft.model.errors import InputError, LinkError
from asleft.model.origin import Origin
from asleft.model.reading import AbsenceKind, Evidence, Quality, Reading
from asleft.model.trouble import TroubleCode
from asleft.talk.conversations import Conversations
from asleft.talk.modules import Form, MappedItem
from kit.fake_module import BRAKES, ENGINE, FakeModule, Script, open_link, silent, table

#: Bytes and values: check values, section 2 (SAE J1979).
VALUES = {0x05: "7B", 0x0C: "1AF8", 0x0D: "00", 0x0F: "46", 0x10: "012C", 0x11: "26", 0x42: "316A"}
#: 01..20: 05 0C 0D 0F 10 11 and 20; 21..40: 40; 41..60: 42.
BITMAPS = {0x00: "081B8001", 0x20: "00000001", 0x40: "40000000"}


def obd(values: dict[int, str] | None = None, *, grouped: bool = True, heard: list[str] | None = None) -> Script:
    """An OBD module that answers service 01 from a table; ungrouped, it refuses several parameters at once."""
    content = BITMAPS | (VALUES if values is None else values)

    def script(request: bytes) -> list[tuple[float, bytes]]:
        if heard is not None:
            heard.append(request.hex().upper())
        pids = request[1:]
        if request[0] != 0x01 or (len(pids) > 1 and not grouped):
            return [(0.005, bytes((0x7F, request[0], 0x12)))]
        answer = b"".join(bytes((pid,)) + bytes.fromhex(content[pid]) for pid in pids if pid in content)
        return [(0.005, b"\x41" + answer)] if answer else []

    return script


def play(
    work: Callable[[LinkSignals, InLoopBus, LoopClock], Coroutine[Any, Any, None]],
    *scripts: Script,
    least_period_s: float = 0.05,
) -> None:
    async def main(clock: LoopClock) -> None:
        bus = InLoopBus(clock)
        link = await open_link(bus, clock)
        for address, script in zip((ENGINE, BRAKES), scripts, strict=False):
            FakeModule(bus, clock, address, script)
        async with Conversations(link, clock, lambda _: None) as talk:
            await work(LinkSignals(talk, clock, least_period_s=least_period_s), bus, clock)

    run_virtual(main)


def test_readings_carry_value_unit_uncertainty_time_origin_and_bytes() -> None:
    """Each in the order asked, with the bytes of its answer and the time that answer came."""

    async def work(signals: LinkSignals, bus: InLoopBus, clock: LoopClock) -> None:
        speed, coolant, supply = await signals.read(["engine-speed", "coolant-temperature", "control-module-voltage"])
        assert (speed.value, speed.unit) == (1726.0, "rpm")
        assert (coolant.value, coolant.unit) == (83.0, "°C")
        assert (supply.value, supply.unit) == (pytest.approx(12.65), "V")
        assert coolant.u == pytest.approx(math.hypot(1 / math.sqrt(12), 2 / math.sqrt(3)))
        for reading in (speed, coolant, supply):
            assert reading.origin is Origin.BENCH
            assert reading.evidence is Evidence.MEASURED
            assert reading.quality is Quality.GOOD
            assert reading.age_s == 0.0
            assert clock.now() - 0.001 < reading.time_s <= clock.now()
            assert reading.raw == "410C1AF8057B42316A"

    play(work, obd())


def test_what_is_not_there_says_why() -> None:
    """Not supported, no such parameter, left out, nobody there: four reasons, no errors, no values."""

    async def work(signals: LinkSignals, bus: InLoopBus, clock: LoopClock) -> None:
        oil, odd, air = await signals.read(["engine-oil-temperature", "no-such-signal", "mass-air-flow"])
        assert oil.absence is not None
        assert oil.absence.kind is AbsenceKind.UNSUPPORTED
        assert odd.absence is not None
        assert odd.absence.kind is AbsenceKind.UNSUPPORTED
        assert air.absence is not None
        assert air.absence.kind is AbsenceKind.NOT_READ

    play(work, obd({pid: text for pid, text in VALUES.items() if pid != 0x10}))


def test_without_any_module_everything_is_not_read() -> None:
    """Key off: absences; once a module answers, values come."""

    async def main(clock: LoopClock) -> None:
        bus = InLoopBus(clock)
        link = await open_link(bus, clock)
        async with Conversations(link, clock, lambda _: None) as talk:
            signals = LinkSignals(talk, clock)
            (speed,) = await signals.read(["engine-speed"])
            assert speed.absence is not None
            assert speed.absence.kind is AbsenceKind.NOT_READ
            assert signals.catalogue() == ()
            FakeModule(bus, clock, ENGINE, obd())
            (speed,) = await signals.read(["engine-speed"])
            assert speed.value == 1726.0
            assert "engine-speed" in {s.id for s in signals.catalogue()}

    run_virtual(main)


class TestGrouping:
    ASKED = ("coolant-temperature", "engine-speed", "vehicle-speed", "mass-air-flow", "throttle-absolute")

    def test_six_go_into_one_request(self) -> None:
        """Seven signals: two requests."""
        heard: list[str] = []

        async def work(signals: LinkSignals, bus: InLoopBus, clock: LoopClock) -> None:
            await signals.prepare()
            heard.clear()
            await signals.read([*self.ASKED, "intake-air-temperature", "control-module-voltage"])
            assert heard == ["01050C0D10110F", "0142"]

        play(work, obd(heard=heard))

    def test_a_module_that_refuses_is_asked_one_by_one_from_then_on(self) -> None:
        """The first round shows it; the second round does not try again."""
        heard: list[str] = []

        async def work(signals: LinkSignals, bus: InLoopBus, clock: LoopClock) -> None:
            first = await signals.read(self.ASKED)
            heard.clear()
            second = await signals.read(self.ASKED)
            assert [r.value for r in first] == [r.value for r in second] == [83.0, 1726.0, 0.0, 3.0, first[4].value]
            assert heard == ["0105", "010C", "010D", "0110", "0111"]

        play(work, obd(grouped=False, heard=heard))

    def test_a_module_that_keeps_silent_to_several_is_found_out(self) -> None:
        """Silence to a group, an answer to one: after the second time it is asked one by one."""

        def script(request: bytes) -> list[tuple[float, bytes]]:
            return [] if len(request) > 2 else list(obd()(request))

        async def work(signals: LinkSignals, bus: InLoopBus, clock: LoopClock) -> None:
            for _ in range(2):
                readings = await signals.read(self.ASKED)
                assert all(r.value is not None for r in readings)
            begun_s = clock.now()
            await signals.read(self.ASKED)
            assert clock.now() - begun_s < 0.1

        play(work, script)

    def test_signals_come_from_whichever_module_has_them(self) -> None:
        """The engine's module lacks one that another has: read from there, at the same time."""

        def other(request: bytes) -> list[tuple[float, bytes]]:
            return list(
                table({"0100": "410000000001", "0120": "412000000001", "0140": "414000000010", "015C": "415C6E"})(
                    request
                )
            )

        async def work(signals: LinkSignals, bus: InLoopBus, clock: LoopClock) -> None:
            oil, speed = await signals.read(["engine-oil-temperature", "engine-speed"])
            assert oil.value == 70.0
            assert speed.value == 1726.0

        play(work, obd(), other)


class TestRecording:
    def test_series_hold_true_times_and_end_in_time(self) -> None:
        """Ten seconds at the gentle period: about 200 samples, increasing times, equal to what was told."""
        told: list[Reading] = []

        async def work(signals: LinkSignals, bus: InLoopBus, clock: LoopClock) -> None:
            await signals.prepare()
            begun_s = clock.now()
            speed, oil = await signals.record(["engine-speed", "engine-oil-temperature"], 10.0, told.append)
            assert clock.now() - begun_s == pytest.approx(10.0, abs=0.05)
            assert 195 <= len(speed) <= 201
            assert all(a < b for a, b in zip(speed.times_s, speed.times_s[1:], strict=False))
            assert [r.time_s for r in told] == list(speed.times_s)
            assert speed.resolution == 0.25
            assert speed.accuracy == CATALOGUE["engine-speed"].accuracy
            assert len(oil) == 0

        play(work, obd())

    def test_as_fast_as_the_link_allows(self) -> None:
        """Without a least period: a round takes the module's 5 ms and the frames, nothing else."""

        async def work(signals: LinkSignals, bus: InLoopBus, clock: LoopClock) -> None:
            await signals.prepare()
            (speed,) = await signals.record(["engine-speed"], 1.0)
            assert len(speed) > 170

        play(work, obd(), least_period_s=0.0)

    def test_a_module_that_falls_silent_leaves_gaps(self) -> None:
        """Two seconds of silence in the middle: gaps counted, the series goes on afterwards, no error."""

        async def main(clock: LoopClock) -> None:
            bus = InLoopBus(clock)
            link = await open_link(bus, clock)
            engine = FakeModule(bus, clock, ENGINE, obd())
            async with Conversations(link, clock, lambda _: None) as talk:
                signals = LinkSignals(talk, clock)
                await signals.prepare()
                start_s = clock.now()
                clock.call_at(start_s + 2.0, lambda: setattr(engine, "gone", True))
                clock.call_at(start_s + 4.0, lambda: setattr(engine, "gone", False))
                (speed,) = await signals.record(["engine-speed"], 8.0)
                assert speed.gaps >= 2
                assert speed.times_s[-1] > start_s + 7.5
                assert not [t for t in speed.times_s if start_s + 2.1 < t < start_s + 4.0]

        run_virtual(main)

    def test_a_lost_link_is_an_error_and_nothing_goes_on_behind(self) -> None:
        """Bus off while recording two modules: link-lost is raised, no task is left."""

        async def work(signals: LinkSignals, bus: InLoopBus, clock: LoopClock) -> None:
            await signals.prepare()
            clock.call_at(clock.now() + 1.0, lambda: bus.set_bus_off("tester"))
            with pytest.raises(LinkError):
                await signals.record(["engine-speed"], 10.0)
            assert len(asyncio.all_tasks()) == 1

        play(work, obd())

    def test_subscribers_see_every_reading_until_they_stop(self) -> None:
        """What anybody reads goes to the subscriber too."""
        seen: list[Reading] = []

        async def work(signals: LinkSignals, bus: InLoopBus, clock: LoopClock) -> None:
            stop = signals.subscribe(seen.append)
            await signals.read(["engine-speed"])
            await signals.record(["vehicle-speed"], 0.2)
            count = len(seen)
            assert {r.signal for r in seen} == {"engine-speed", "vehicle-speed"}
            stop()
            stop()
            await signals.read(["engine-speed"])
            assert len(seen) == count

        play(work, obd())


class TestQuality:
    def test_a_value_that_cannot_be_is_flagged_not_dropped(self) -> None:
        """FF FF as supply is 65.5 V: given, and out of range."""

        async def work(signals: LinkSignals, bus: InLoopBus, clock: LoopClock) -> None:
            (supply,) = await signals.read(["control-module-voltage"])
            assert supply.value == pytest.approx(65.535)
            assert supply.quality is Quality.OUT_OF_RANGE

        play(work, obd(VALUES | {0x42: "FFFF"}))

    def test_an_engine_speed_constant_to_the_bit_is_suspected_after_ten_seconds(self) -> None:
        """Good for ten seconds, then frozen; a speed of zero is never frozen."""
        told: list[Reading] = []

        async def work(signals: LinkSignals, bus: InLoopBus, clock: LoopClock) -> None:
            await signals.record(["engine-speed"], 12.0, told.append)
            first_s = told[0].time_s
            assert all(r.quality is Quality.GOOD for r in told if r.time_s - first_s < 9.9)
            assert told[-1].quality is Quality.FROZEN

        play(work, obd())

        async def standing(signals: LinkSignals, bus: InLoopBus, clock: LoopClock) -> None:
            told.clear()
            await signals.record(["engine-speed"], 12.0, told.append)
            assert told[-1].quality is Quality.GOOD

        play(standing, obd(VALUES | {0x0C: "0000"}))


def test_the_bench_car_idles_where_its_physics_does() -> None:
    """Through the whole way: what is sampled agrees with the car's true state."""

    async def main(clock: LoopClock) -> None:
        bus = InLoopBus(clock)
        car = PetrolCar(seed=3, warm=True)
        car.attach(bus, clock)
        car.act("key", position="on")
        await clock.sleep_until(2.0)
        car.act("key", position="start")
        await clock.sleep_until(20.0)
        link = await open_link(bus, clock)
        async with Conversations(link, clock, lambda _: None) as talk:
            signals = LinkSignals(talk, clock)
            (speed, air) = await signals.read(["engine-speed", "mass-air-flow"])
            truth = car.truth()
            assert speed.value == pytest.approx(truth["engine speed, 1/min"], rel=0.05)
            assert air.value == pytest.approx(truth["air, g/s"], rel=0.2)

    run_virtual(main)


def test_a_silent_grouped_module_does_not_stop_the_others() -> None:
    """One module answers, the other is silent after it was found: its signals are absent, the rest is there."""

    async def main(clock: LoopClock) -> None:
        bus = InLoopBus(clock)
        link = await open_link(bus, clock)
        FakeModule(bus, clock, ENGINE, obd())
        other = FakeModule(
            bus, clock, BRAKES, table({"0100": "410000000001", "0120": "412000000001", "0140": "414000000010"})
        )
        async with Conversations(link, clock, lambda _: None) as talk:
            signals = LinkSignals(talk, clock)
            await signals.prepare()
            other.script = silent
            oil, speed = await signals.read(["engine-oil-temperature", "engine-speed"])
            assert oil.absence is not None
            assert oil.absence.kind is AbsenceKind.NOT_READ
            assert speed.value == 1726.0

    run_virtual(main)


class TestMapped:
    """Signals that a module gives by data identifier."""

    PLATE = MappedSignal(
        CATALOGUE["throttle-absolute"],
        ENGINE,
        MappedItem("throttle-absolute", "plate", 0x4C25, Form.NUMBER, 0, 2, scale=100 / 4095, unit="%"),
    )
    SUPPLY = MappedSignal(
        CATALOGUE["control-module-voltage"],
        BRAKES,
        MappedItem("control-module-voltage", "supply", 0x4E01, Form.NUMBER, 1, 2, scale=0.001, unit="V"),
    )

    def play(self, work: Callable[[LinkSignals, LoopClock], Coroutine[Any, Any, None]], script: Script) -> None:
        async def main(clock: LoopClock) -> None:
            bus = InLoopBus(clock)
            link = await open_link(bus, clock)
            FakeModule(bus, clock, ENGINE, script)
            FakeModule(bus, clock, BRAKES, table({"224E01": "624E01FF316A"}))
            async with Conversations(link, clock, lambda _: None) as talk:
                await work(LinkSignals(talk, clock, mapped=[self.PLATE, self.SUPPLY]), clock)

        run_virtual(main)

    def test_they_come_before_standard_data_and_carry_their_own_step(self) -> None:
        """Twelve bits instead of eight: value, resolution and uncertainty are those of the map."""

        async def work(signals: LinkSignals, clock: LoopClock) -> None:
            plate, supply = await signals.read(["throttle-absolute", "control-module-voltage"])
            assert plate.value == pytest.approx(0x0333 * 100 / 4095)
            assert supply.value == pytest.approx(12.65)
            assert plate.raw == "624C250333"
            (series,) = await signals.record(["throttle-absolute"], 0.5)
            assert series.resolution == pytest.approx(100 / 4095)
            assert len(series) >= 9
            assert {s.id for s in signals.catalogue()} == {"throttle-absolute", "control-module-voltage"}

        self.play(work, table({"224C25": "624C250333"}))

    def test_too_few_bytes_are_an_absence(self) -> None:
        """The map expects two bytes and one comes: not read, with the bytes."""

        async def work(signals: LinkSignals, clock: LoopClock) -> None:
            (plate,) = await signals.read(["throttle-absolute"])
            assert plate.absence is not None
            assert plate.raw == "624C2503"

        self.play(work, table({"224C25": "624C2503"}))

    def test_several_go_into_one_request_once_their_lengths_are_known(self) -> None:
        """First one by one, then together; a module that refuses that is asked one by one again."""
        second = MappedSignal(
            CATALOGUE["throttle-commanded"],
            ENGINE,
            MappedItem("throttle-commanded", "", 0x4C26, Form.NUMBER, 0, 1, scale=1.0, unit="%"),
        )
        answers = {"224C25": "624C250333", "224C26": "624C2611", "224C254C26": "624C2503334C2611"}

        async def main(clock: LoopClock, known: dict[str, str]) -> list[str]:
            bus = InLoopBus(clock)
            link = await open_link(bus, clock)
            engine = FakeModule(bus, clock, ENGINE, table(known))
            async with Conversations(link, clock, lambda _: None) as talk:
                signals = LinkSignals(talk, clock, mapped=[self.PLATE, second])
                for _ in range(3):
                    readings = await signals.read(["throttle-absolute", "throttle-commanded"])
                    assert [r.value is not None for r in readings] == [True, True]
            return engine.requests

        heard = run_virtual(lambda clock: main(clock, answers))
        assert heard == ["224C25", "224C26", "224C254C26", "224C254C26"]
        del answers["224C254C26"]
        heard = run_virtual(lambda clock: main(clock, answers))
        assert heard == ["224C25", "224C26", "224C254C26", "224C25", "224C26", "224C25", "224C26"]

    def test_a_wrong_unit_is_refused_when_mapped(self) -> None:
        """A map entry in another unit than the signal's cannot be used."""
        with pytest.raises(InputError):
            MappedSignal(CATALOGUE["engine-speed"], ENGINE, MappedItem("x", "", 1, Form.NUMBER, unit="%"))


def test_true_rate_and_a_sensor_whose_own_code_says_not_to_believe_it() -> None:
    async def work(signals: LinkSignals, _bus: InLoopBus, _clock: LoopClock) -> None:
        assert signals.rate_hz("coolant-temperature") is None
        assert signals.in_fault([TroubleCode("P0117", "engine")]) == {"coolant-temperature": "P0117"}
        seen: list[Reading] = []
        await signals.record(["coolant-temperature", "engine-speed"], 3.0, seen.append)
        assert {r.quality for r in seen if r.signal == "coolant-temperature"} == {Quality.SUSPECT}
        assert {r.quality for r in seen if r.signal == "engine-speed"} == {Quality.GOOD}
        times = [r.time_s for r in seen if r.signal == "engine-speed"][-20:]
        assert signals.rate_hz("engine-speed") == pytest.approx((len(times) - 1) / (times[-1] - times[0]))

    play(work, obd())
