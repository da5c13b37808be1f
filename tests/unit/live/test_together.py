"""What is asked and what is broadcast as one source, over a real software bus; frames encoded by cantools itself."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Coroutine
from functools import partial
from pathlib import Path
from typing import Any

import pytest

from asleft.bench.bus import InLoopBus
from asleft.bench.cars.petrol import PetrolCar
from asleft.job.clock import LoopClock, run_virtual
from asleft.link.bus_link import BusLink
from asleft.live.broadcasts import BroadcastSignal, BroadcastSignals
from asleft.live.together import CarSignals
from asleft.model.frame import CanFrame
from asleft.model.reading import AbsenceKind, Quality
from asleft.model.trouble import TroubleCode
from asleft.talk.conversations import Conversations

cantools = pytest.importorskip("cantools")

DBC = Path(__file__).parents[3] / "docs" / "maps" / "aldra-1.6.dbc"
ANGLE = BroadcastSignal("steering-angle", "WheelAngle", "°", "Steering", 0.5, "°")
SPEED = BroadcastSignal("vehicle-speed", "Speed", "km/h", "Motion", 1.0)


def frame(message: str, **values: float) -> CanFrame:
    found = cantools.database.load_file(str(DBC)).get_message_by_name(message)
    return CanFrame(found.frame_id, bytes(found.encode(values)), False)


def play(work: Callable[[CarSignals, Callable[..., None], LoopClock], Coroutine[Any, Any, None]]) -> None:
    """A warm petrol car with key on, and a steering module that broadcasts when a test says."""

    async def main(clock: LoopClock) -> None:
        bus = InLoopBus(clock)
        car = PetrolCar(seed=3, warm=True)
        car.attach(bus, clock)
        car.act("key", position="on")
        await clock.sleep_until(2.0)
        link = BusLink(bus, clock)
        await link.open()
        steering = bus.join("steering", lambda _frame: None)

        def tell(message: str, **values: float) -> None:
            steering.send(frame(message, **values))

        async with Conversations(link, clock, lambda _: None) as talk:
            signals = CarSignals(talk, clock, heard=BroadcastSignals(link, [ANGLE, SPEED], DBC))
            stop = signals.listen()
            await work(signals, tell, clock)
            stop()
        car.detach()

    run_virtual(main)


def test_asked_and_heard_come_in_the_order_wanted() -> None:
    async def work(signals: CarSignals, tell: Callable[..., None], clock: LoopClock) -> None:
        clock.call_at(clock.now() + 0.4, lambda: tell("Steering", WheelAngle=-12.3, WheelRate=0))
        before = clock.now()
        rpm, angle, voltage = await signals.read(["engine-speed", "steering-angle", "control-module-voltage"])
        assert (rpm.signal, rpm.value) == ("engine-speed", 0.0)
        assert voltage.value is not None
        assert (angle.signal, angle.value, angle.unit) == ("steering-angle", pytest.approx(-12.3), "°")
        assert angle.u > 0.5 / 3**0.5, "the sensor's own error counts"
        assert angle.time_s >= before + 0.4, "the next one, not an old one"

    play(work)


def test_silence_is_an_absence_with_its_reason_and_no_old_value() -> None:
    async def work(signals: CarSignals, tell: Callable[..., None], clock: LoopClock) -> None:
        tell("Steering", WheelAngle=5.0, WheelRate=0)
        (first,) = await signals.read(["steering-angle"])
        assert first.value == pytest.approx(5.0)
        await clock.sleep_until(clock.now() + 3.0)
        before = clock.now()
        (silent,) = await signals.read(["steering-angle"])
        assert silent.value is None
        assert silent.absence is not None
        assert silent.absence.kind is AbsenceKind.NOT_READ
        assert clock.now() - before == pytest.approx(1.0, abs=0.01)
        (quick,) = await signals.read_within(["steering-angle"], 0.2)
        assert quick.value is None
        assert clock.now() - before == pytest.approx(1.2, abs=0.02)

    play(work)


def test_a_young_reading_is_not_waited_for() -> None:
    async def work(signals: CarSignals, tell: Callable[..., None], clock: LoopClock) -> None:
        tell("Steering", WheelAngle=7.0, WheelRate=0)
        await signals.read(["steering-angle"])
        before = clock.now()
        (again,) = await signals.read(["steering-angle"])
        assert again.value == pytest.approx(7.0)
        assert clock.now() == before

    play(work)


def test_recording_keeps_every_broadcast_beside_what_is_asked() -> None:
    async def work(signals: CarSignals, tell: Callable[..., None], clock: LoopClock) -> None:
        begun = clock.now()
        for n in range(20):
            clock.call_at(begun + 0.05 + n * 0.1, partial(tell, "Steering", WheelAngle=float(n), WheelRate=0))
        heard: list[str] = []
        angle, rpm = await signals.record(["steering-angle", "engine-speed"], 2.5, lambda r: heard.append(r.signal))
        assert angle.values == tuple(pytest.approx(float(n)) for n in range(20))
        assert angle.times_s == tuple(sorted(angle.times_s))
        assert (angle.resolution, angle.accuracy, angle.unit) == (pytest.approx(0.1), 0.5, "°")
        assert len(rpm) >= 20
        assert heard.count("steering-angle") == 20
        assert heard.count("engine-speed") == len(rpm)

    play(work)


def test_a_car_lists_what_it_broadcasts_once() -> None:
    async def work(signals: CarSignals, tell: Callable[..., None], clock: LoopClock) -> None:
        await signals.prepare()
        names = [signal.id for signal in signals.catalogue()]
        assert names.count("vehicle-speed") == 1, "the broadcast comes before the standard parameter"
        assert names.count("steering-angle") == 1
        assert names.count("engine-speed") == 1

    play(work)


def test_a_module_in_fault_makes_its_broadcast_doubtful() -> None:
    async def work(signals: CarSignals, tell: Callable[..., None], clock: LoopClock) -> None:
        assert signals.in_fault([TroubleCode("P0500", "engine")]) == {"vehicle-speed": "P0500"}
        clock.call_at(clock.now() + 0.1, lambda: tell("Motion", Speed=30.0))
        (speed,) = await signals.read(["vehicle-speed"])
        assert speed.value == pytest.approx(30.0)
        assert speed.quality is Quality.SUSPECT

    play(work)


def test_a_wait_that_is_cancelled_leaves_nobody_listening() -> None:
    async def work(signals: CarSignals, tell: Callable[..., None], clock: LoopClock) -> None:
        before = len(signals._subscribers)
        waiting = asyncio.ensure_future(signals.read(["steering-angle"]))
        await clock.sleep_until(clock.now() + 0.2)
        waiting.cancel()
        with pytest.raises(asyncio.CancelledError):
            await waiting
        assert len(signals._subscribers) == before

    play(work)
