"""Pictures: everything a car gives, and a reason for everything it does not."""

from __future__ import annotations

from collections.abc import Callable, Coroutine
from typing import Any

import pytest

from asleft.bench.bus import InLoopBus
from asleft.bench.cars.petrol import PetrolCar
from asleft.job.clock import LoopClock, run_virtual
from asleft.live.sampler import LinkSignals
from asleft.model.errors import Code, InputError, LinkError
from asleft.model.module import ModuleAddress, Picture, PictureKind, differences
from asleft.model.reading import AbsenceKind
from asleft.model.trouble import CodeKind
from asleft.talk.conversations import Conversations
from asleft.talk.modules import Form, MappedItem, MappedModule, ModuleMap
from asleft.talk.pictures import take_picture
from kit.fake_module import BODY, ENGINE, FakeModule, Script, Tap, open_link, table

VIN = "1G1JC5444R7252367"  # check values, section 2
STOP = MappedItem("learned-lower-stop", "learned lower stop", 0x4C21, Form.NUMBER, 2, 2, scale=0.01, unit="%")
CODING = MappedItem("coding", "coding", 0x3B10)
ALDRA = ModuleMap(
    (
        MappedModule(ENGINE, (CODING,), (STOP,)),
        *(
            MappedModule(ModuleAddress(name, request, request + 1))
            for name, request in (("gateway", 0x6A0), ("brakes", 0x6B2), ("body", 0x6C4), ("cluster", 0x6D6))
        ),
    )
)

ENGINE_ANSWERS = {
    "0100": "410000000000",
    "0900": "490054400000",
    "0902": "490201" + VIN.encode().hex(),
    "0904": "490401" + b"JMB*36761500".hex() + "00000000",
    "0906": "4906011791BC82",
    "03": "43020420D116",
    "07": "47010301",
    "0A": "4A010420",
    "0101": "410182076504",
    "020200": "4202000420",
    "020000": "42000058000000",
    "020500": "4205007B",
    "020400": "42040080",
    "22F187": "62F187" + b"EN-12".hex(),
    "22F188": "62F188" + b"SW 77\x00\x00".hex(),
    "22F190": "62F190" + VIN.encode().hex(),
    "22F18C": "7F2233",
    "19020D": "5902FF0420002FD1160009",
}


def take(
    modules: ModuleMap, scripts: dict[ModuleAddress, Script], check: Callable[[Picture, Tap, LoopClock], None]
) -> None:
    async def main(clock: LoopClock) -> None:
        bus = InLoopBus(clock)
        tap = Tap(bus)
        link = await open_link(bus, clock)
        for address, script in scripts.items():
            FakeModule(bus, clock, address, script)
        async with Conversations(link, clock, lambda _: None) as talk:
            picture = await take_picture(PictureKind.AS_FOUND, modules, talk, clock, LinkSignals(talk, clock))
        check(picture, tap, clock)

    run_virtual(main)


def test_identification_codes_readiness_and_freeze_frame_of_one_module() -> None:
    """All parts, by the bytes of the check values."""

    def check(picture: Picture, tap: Tap, clock: LoopClock) -> None:
        engine = picture.module("engine")
        assert engine is not None
        assert engine.responded
        assert engine.value("vin") == VIN
        assert engine.value("vin-by-identifier") == VIN
        assert engine.value("calibration-id") == "JMB*36761500"
        assert engine.value("calibration-verification") == "1791BC82"
        assert engine.value("part-number") == "EN-12"
        assert engine.value("software-number") == "SW 77"
        found = {(c.full, c.kind) for c in engine.codes}
        assert found == {
            ("P0420-00", CodeKind.STORED),
            ("U1116-00", CodeKind.STORED),
            ("P0301", CodeKind.PENDING),
            ("P0420", CodeKind.PERMANENT),
        }
        assert all(c.text for c in engine.codes)
        notes = {n.key: n.value for n in picture.notes}
        assert notes["engine.lamp"] == "on"
        assert notes["engine.readiness.evaporative-system"] == "incomplete"
        assert notes["engine.readiness.catalyst"] == "complete"
        assert notes["engine.freeze-frame"] == "P0420"
        assert notes["engine.freeze-frame.coolant-temperature"] == "83"

    take(ModuleMap((MappedModule(ENGINE),)), {ENGINE: table(ENGINE_ANSWERS)}, check)


def test_each_absence_has_its_own_reason() -> None:
    """Unsupported with its code, refused with its code, not read: three different things."""

    def check(picture: Picture, tap: Tap, clock: LoopClock) -> None:
        engine = picture.module("engine")
        assert engine is not None
        reasons = {i.key: i.absence for i in (*engine.identification, *engine.learned) if i.absence is not None}
        assert (reasons["hardware-number"].kind, reasons["hardware-number"].refusal) == (AbsenceKind.UNSUPPORTED, 0x31)
        assert (reasons["serial-number"].kind, reasons["serial-number"].refusal) == (AbsenceKind.REFUSED, 0x33)
        assert reasons["learned-lower-stop"].kind is AbsenceKind.UNSUPPORTED

    take(ModuleMap((MappedModule(ENGINE, (), (STOP,)),)), {ENGINE: table(ENGINE_ANSWERS)}, check)


def test_a_silent_module_is_in_the_picture_and_asked_one_thing_only() -> None:
    """Body is on the map and keeps silent: not responded, every item not read; two frames to it in all."""

    def check(picture: Picture, tap: Tap, clock: LoopClock) -> None:
        body = picture.module("body")
        assert body is not None
        assert not body.responded
        assert all(i.absence is not None and i.absence.kind is AbsenceKind.NOT_READ for i in body.identification)
        assert body.codes_absence is not None
        assert tap.sent(BODY.request_id) == ["0322F187CCCCCCCC"] * 2

    take(ModuleMap((MappedModule(BODY),)), {ENGINE: table(ENGINE_ANSWERS)}, check)


def test_a_car_nobody_knows_gives_its_obd_modules() -> None:
    """An empty map: the responder is found, named by its identifier, and read in full."""

    def check(picture: Picture, tap: Tap, clock: LoopClock) -> None:
        assert [m.address.name for m in picture.modules] == ["module 7E8"]
        assert picture.modules[0].value("vin") == VIN

    take(ModuleMap(), {ENGINE: table(ENGINE_ANSWERS)}, check)


def test_wide_identifiers_are_found_too() -> None:
    """No answer on 11 bit: 29 bit is tried."""
    wide = ModuleAddress("x", 0x18DA10F1, 0x18DAF110, extended=True)

    async def main(clock: LoopClock) -> None:
        bus = InLoopBus(clock)
        link = await open_link(bus, clock)
        FakeModule(bus, clock, wide, table(ENGINE_ANSWERS), functional=(0x18DB33F1,))
        async with Conversations(link, clock, lambda _: None) as talk:
            picture = await take_picture(PictureKind.AS_FOUND, ModuleMap(), talk, clock, LinkSignals(talk, clock))
        assert [m.address.name for m in picture.modules] == ["module 10"]
        assert picture.modules[0].value("vin") == VIN

    run_virtual(main)


def test_only_reads_go_out() -> None:
    """Nothing but services 01, 02, 03, 07, 09, 0A, 19, 22 and flow control is on the bus."""

    def check(picture: Picture, tap: Tap, clock: LoopClock) -> None:
        services = {f.data[1] for f in tap.frames if f.id in (0x7DF, 0x7E0) and f.data[0] >> 4 == 0}
        assert services <= {0x01, 0x02, 0x03, 0x07, 0x09, 0x0A, 0x19, 0x22}

    take(ModuleMap((MappedModule(ENGINE, (CODING,), (STOP,)),)), {ENGINE: table(ENGINE_ANSWERS)}, check)


def test_an_answer_out_of_form_keeps_its_bytes() -> None:
    """A VIN with unprintable characters: not read, with the answer's bytes beside the reason."""
    answers = ENGINE_ANSWERS | {"0902": "490201" + "01" * 17}

    def check(picture: Picture, tap: Tap, clock: LoopClock) -> None:
        engine = picture.modules[0]
        item = next(i for i in engine.identification if i.key == "vin-by-obd")
        assert item.absence is not None
        assert item.raw == "490201" + "01" * 17
        assert engine.value("vin") == VIN  # by identifier

    take(ModuleMap((MappedModule(ENGINE),)), {ENGINE: table(answers)}, check)


def test_a_lost_link_is_an_error_not_a_picture() -> None:
    """Bus off in the middle: link-lost."""

    async def main(clock: LoopClock) -> None:
        bus = InLoopBus(clock)
        link = await open_link(bus, clock)
        FakeModule(bus, clock, ENGINE, table(ENGINE_ANSWERS))
        clock.call_at(0.4, lambda: bus.set_bus_off("tester"))
        async with Conversations(link, clock, lambda _: None) as talk:
            with pytest.raises(LinkError) as caught:
                await take_picture(PictureKind.AS_FOUND, ModuleMap(), talk, clock, LinkSignals(talk, clock))
        assert caught.value.code is Code.LINK_LOST

    run_virtual(main)


def test_a_name_that_the_map_does_not_have() -> None:
    """The message lists the known ones."""
    with pytest.raises(InputError) as caught:
        ALDRA.address("gearbox")
    assert caught.value.code is Code.MODULE_UNKNOWN
    assert "engine, gateway" in caught.value.sentence()


def car_pictures(work: Callable[[PetrolCar, Callable[[], Coroutine[Any, Any, Picture]], LoopClock], Any]) -> None:
    async def main(clock: LoopClock) -> None:
        bus = InLoopBus(clock)
        car = PetrolCar(seed=7)
        car.attach(bus, clock)
        car.act("key", position="on")
        await clock.sleep_until(3.0)
        link = await open_link(bus, clock)
        async with Conversations(link, clock, lambda _: None) as talk:
            signals = LinkSignals(talk, clock)
            await work(car, lambda: take_picture(PictureKind.AS_FOUND, ALDRA, talk, clock, signals), clock)

    run_virtual(main)


def test_the_bench_car_s_picture_agrees_with_what_it_is() -> None:
    """Five modules answer; VIN and learned lower stop are those of the car's truth; two pictures are equal."""

    async def work(car: PetrolCar, picture_of: Callable[[], Coroutine[Any, Any, Picture]], clock: LoopClock) -> None:
        picture = await picture_of()
        assert [m.address.name for m in picture.modules if m.responded] == [m.address.name for m in picture.modules]
        assert {m.value("vin") for m in picture.modules} == {car.vin}
        engine = picture.module("engine")
        assert engine is not None
        (stop,) = engine.learned
        assert float(stop.value) == pytest.approx(car.truth()["learned lower stop, %"], abs=0.02)
        assert differences(picture, await picture_of()) == ()
        assert picture.stop_s - picture.start_s < 2.0

    car_pictures(work)


def test_the_work_on_the_throttle_shows_as_a_code_between_two_pictures() -> None:
    """Throttle off, cleaned and refitted: the code for a stop not learned appears, and only in the engine."""

    async def work(car: PetrolCar, picture_of: Callable[[], Coroutine[Any, Any, Picture]], clock: LoopClock) -> None:
        before = await picture_of()
        car.act("key", position="off")
        await clock.sleep_until(clock.now() + 20.0)
        for act in ("remove_throttle", "clean_throttle", "refit_throttle"):
            car.act(act)
        car.act("key", position="on")
        await clock.sleep_until(clock.now() + 10.0)
        after = await picture_of()
        found = differences(before, after)
        assert {d.module for d in found} == {"engine"}
        assert any("P2176" in d.key for d in found)

    car_pictures(work)
