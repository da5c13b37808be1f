"""Every fault of the estate changes what it says it changes, against the same seed without it."""

from __future__ import annotations

from collections.abc import Callable
from statistics import fmean, pstdev
from typing import Any

import pytest

from asleft.bench.cars.estate import EstateCar
from asleft.bench.cars.estate_faults import ESTATE_FAULTS
from asleft.bench.cars.estate_table import ROWS
from asleft.bench.cars.faults import Family
from asleft.bench.module import ControlModule
from asleft.bench.transport import IsoTpNode, TransportSettings
from kit.estate_bay import Bay
from kit.fault_watch import COMMON, Kind, effect

ESTATE = Kind(lambda: EstateCar(5, warm=True), other="stability")


def standing(bay: Bay) -> None:
    """Key on, standing: everything that can be read."""
    bay.set()
    bay.do("charger", 2.0, on=True)
    bay.do("key", 3.0, position="on")
    for name, did, step in (("yaw", 0x4D11, 0.01), ("side", 0x4D12, 0.001), ("pressure", 0x4D14, 0.01)):
        values = bay.values("stability", did, step, 2.0)
        bay.seen[name], bay.seen[f"{name} scatter"] = fmean(values), pstdev(values)
    bay.seen["angle"] = fmean(bay.values("steering angle", 0x4D31, 0.1, 1.0))
    bay.seen["torque"] = fmean(bay.values("steering assist", 0x4D41, 0.01, 1.0))
    bay.seen["tyre"] = bay.value("tyre pressure", 0x4E51, 1.0)
    heights = bay.car.module("suspension").peek(0x4E11)
    bay.seen["front left"], bay.seen["rear"] = (int.from_bytes(heights[i : i + 2], "big") for i in (0, 4))
    bay.seen["coding"] = {m.name: m.peek(ROWS[m.name].coding_did).hex() for m in bay.car.modules if m.name != "engine"}
    bay.seen["codes"] = bay.codes()
    bay.seen["cluster"] = bay.car.module("cluster").peek(0xF190)
    bay.seen["level"] = bay.routine("suspension", 0x5C11, 1.0)
    bay.do("place_target")
    bay.seen["aim"] = bay.routine("camera", 0x5C21, 9.0)


def leaking(bay: Bay) -> None:
    """Ten minutes parked."""
    bay.set()
    bay.wait(600.0)
    bay.do("key", 2.0, position="on")
    bay.seen["front left"] = int.from_bytes(bay.car.module("suspension").peek(0x4E11)[:2], "big")


def straight(bay: Bay) -> None:
    """Half a minute straight ahead."""
    bay.set()
    bay.drive(60.0, 25.0)
    bay.seen["angle"] = fmean(bay.values("steering angle", 0x4D31, 0.1, 6.0))
    bay.seen["wheel"] = bay.value("stability", 0x4D15, 0.01) / bay.car.truth()["speed, km/h"]


def all_at_once(bay: Bay) -> None:
    """Every module asked for its part number at the same moment, at the plug."""
    bay.do("key", 3.0, position="on")
    bay.set()
    heard: dict[str, bytes] = {}
    for module in bay.car.modules:
        if isinstance(module, ControlModule):
            where = module.address
            settings = TransportSettings(where.response, where.request, where.extended)

            def hear(answer: bytes, _functional: bool, name: str = module.name) -> None:
                heard[name] = answer

            IsoTpNode(bay.car.bus, bay.clock, settings, hear, name=f"tester {module.name}").send(b"\x22\xf1\x87")
    bay.wait(3.0)
    bay.seen["answered"] = sum(answer[:1] == b"\x62" for answer in heard.values())
    bay.seen["busy"] = sum(answer[-1:] == b"\x21" for answer in heard.values())


def ready(bay: Bay) -> None:
    """Support unit connected, key on, everything in order."""
    bay.do("charger", 2.0, on=True)
    bay.do("key", 3.0, position="on")


def serviced(bay: Bay) -> None:
    """Window learned by hand, brake pads fitted, lights and battery read, codes."""
    bay.do("disconnect_battery", 1.0)
    ready(bay)
    bay.do("load", 1.0, name="lamps", on=True)
    assert bay.routine("parking brake", 0x5C31, 9.0) == 2
    bay.do("replace_pads")
    bay.set()
    bay.wait(4.0)
    bay.seen["codes"] = bay.codes()
    bay.seen["beam"] = bay.car.act("read_beam")["left"]
    bay.seen["battery"] = bay.value("battery monitor", 0x2B12, 0.01)
    bay.seen["pitch"] = bay.value("headlamp levelling", 0x3D5A, 0.01)
    bay.seen["pressure"] = fmean(bay.values("stability", 0x4D14, 0.01, 1.0))
    bay.do("window", 8.0, way="open")
    currents: list[int] = []
    bay.do("window", way="close")
    for _ in range(40):
        bay.wait(0.1)
        currents.append(bay.car.module("door driver").peek(0x1A41)[2])
    bay.seen["motor"] = max(currents[2:15])
    bay.do("window", 6.0, way="close")
    bay.do("window", way="off")
    bay.seen["window learned"] = bay.car.truth()["window learned"]
    bay.seen["closing"] = bay.routine("parking brake", 0x5C32, 16.0)


def zeroed(bay: Bay) -> None:
    """The yaw zero asked for; the lamp."""
    ready(bay)
    bay.set()
    bay.ask("stability", "1003")
    bay.seen["answer"] = bay.ask("stability", "31015B11").hex()
    bay.wait(4.0)
    bay.ask("stability", "3E00")
    bay.wait(4.0)
    bay.seen["lamp"] = bay.car.act("look_at_lamp")


def walked(bay: Bay) -> None:
    """Stationary learn of the gearbox asked for; how long it engages; its end."""
    bay.do("key", 3.0, position="on")
    bay.set()
    bay.do("key", 12.0, position="start")
    bay.do("brake", pressed=True)
    bay.ask("transmission", "1003")
    bay.seen["answer"] = bay.ask("transmission", "31015C41").hex()
    for position in ("R", "D"):
        bay.do("selector", 4.0, position=position)
        bay.ask("transmission", "3E00")
    for _ in range(4):
        bay.wait(4.0)
        bay.ask("transmission", "3E00")
    bay.seen["done"] = bay.car.module("transmission").peek(0x4E41)[3]
    bay.seen["took"] = int.from_bytes(bay.car.module("transmission").peek(0x4E44)[:2], "big")


def steered(bay: Bay) -> None:
    """Torque with the hands off, and the locks turned to."""
    bay.do("key", 3.0, position="on")
    bay.do("key", 20.0, position="start")
    bay.set()
    bay.wait(1.0)
    bay.seen["torque"] = fmean(bay.values("steering assist", 0x4D41, 0.01, 1.0))
    bay.ask("steering assist", "1003")
    bay.ask("steering assist", "31015B32")
    for degrees in (505.0, -505.0, 0.0):
        bay.do("steer", 4.6, degrees=degrees)
        bay.ask("steering assist", "3E00")
    bay.wait(2.0)
    bay.seen["locks"] = bay.ask("steering assist", "31035B32")[4]


EXPECTED: dict[str, tuple[Callable[[Bay], None], str, float | None]] = {
    "floor slopes": (standing, "side", 0.2),
    "someone leans on the car": (standing, "side", 0.05),
    "hand wheel not straight": (straight, "angle", 2.0),
    "wind from the side": (straight, "angle", 1.0),
    "door open": (standing, "level", None),
    "low sun": (standing, "aim", None),
    "tyre soft": (standing, "tyre", 60.0),
    "boot loaded": (standing, "rear", 200.0),
    "yaw sensor noisy": (standing, "yaw scatter", 0.3),
    "yaw sensor offset": (standing, "yaw", 1.2),
    "side sensor offset": (standing, "side", 0.25),
    "angle sensor offset": (standing, "angle", 3.5),
    "pressure sensor offset": (standing, "pressure", 2.0),
    "hand on the wheel": (standing, "torque", 0.5),
    "small wheel front left": (straight, "wheel", 0.02),
    "air spring leaks": (leaking, "front left", 80.0),
    "coding bytes swapped": (standing, "coding", None),
    "coding checksum wrong": (standing, "codes", None),
    "coding lost": (standing, "codes", None),
    "market wrong": (standing, "coding", None),
    "decimal for hexadecimal": (standing, "coding", None),
    "used module fitted": (standing, "cluster", None),
    "gearbox oil cold": (walked, "answer", None),
    "brake pedal hangs": (serviced, "pressure", 2.5),
    "window blocked": (serviced, "window learned", None),
    "switch let go early": (serviced, "window learned", None),
    "battery lead past the sensor": (serviced, "battery", 2.0),
    "rear height sensors off": (serviced, "pitch", 1.0),
    "fitted list wrong": (serviced, "codes", None),
    "angle zero lost": (zeroed, "answer", None),
    "stability lamp dead": (zeroed, "lamp", None),
    "window guide stiff": (serviced, "motor", 20.0),
    "window motor slips": (serviced, "window learned", None),
    "left caliper stiff": (serviced, "closing", None),
    "right brake motor weak": (serviced, "closing", None),
    "pistons not brought up": (serviced, "closing", None),
    "gearbox oil low": (walked, "took", 200.0),
    "clutch worn": (walked, "done", None),
    "headlamp bracket bent": (serviced, "beam", 0.5),
    "tie rod bent": (steered, "locks", None),
    "steering binds": (steered, "torque", 1.0),
    "module missing": (serviced, "codes", None),
    "gateway drops beyond": (all_at_once, "answered", 30.0),
    "gateway refuses beyond": (all_at_once, "busy", 30.0),
}

_SOUND: dict[str, dict[str, Any]] = {}


def _sound(scenario: Callable[[Bay], None]) -> dict[str, Any]:
    if scenario.__name__ not in _SOUND:
        bay = Bay(4)
        scenario(bay)
        _SOUND[scenario.__name__] = bay.seen
    return _SOUND[scenario.__name__]


SHARED = {name: COMMON[name] for name in ESTATE_FAULTS if name not in EXPECTED}
#: Where the estate differs from the petrol car: between the tester and the engine module stands a gateway.
QUICK = {name for name in SHARED if ESTATE_FAULTS[name].family is Family.LINK}


def test_every_fault_stands_in_the_table():
    assert set(EXPECTED) | set(SHARED) == set(ESTATE_FAULTS)


@pytest.mark.parametrize(
    "name", [pytest.param(name, marks=() if name in QUICK else pytest.mark.full) for name in SHARED]
)
def test_a_fault_that_other_cars_have_too_has_its_effect_here(name: str):
    effect(ESTATE, name, *SHARED[name])


def test_the_sound_gateway_lets_everybody_answer():
    bay = Bay(4)
    all_at_once(bay)
    assert bay.seen == {"answered": 48, "busy": 0}
    assert bay.car.wired_gateway.counts.queued >= 40


#: Long ones, of which the quick run plays one each.
LONG = {name for name, (scenario, _, _) in EXPECTED.items() if scenario in {serviced, walked, steered, standing}}
LONG -= {"window guide stiff", "clutch worn", "tie rod bent", "floor slopes", "coding lost", "module missing"}


@pytest.mark.parametrize(
    "name", [pytest.param(name, marks=pytest.mark.full if name in LONG else ()) for name in EXPECTED]
)
def test_a_fault_has_its_effect(name: str):
    scenario, key, least = EXPECTED[name]
    bay = Bay(4, name)
    scenario(bay)
    sound, spoilt = _sound(scenario)[key], bay.seen[key]
    if least is None:
        assert spoilt != sound
    else:
        assert abs(spoilt - sound) >= least
