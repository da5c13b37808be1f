"""Faults of the petrol car by name and size: TRADE 9.3, and of its parts. Link faults come from `link_faults`."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from operator import attrgetter
from typing import Any

from .coding_faults import (
    decimal_for_hex,
    emptied,
    foreign_vin,
    other_market,
    rewritten,
    swapped,
    unknown_bits_gone,
)
from .faults import Family, Fault, table
from .link_faults import LINK_FAULTS
from .petrol_body import BODY_CODING, crc8
from .petrol_others import BRAKES_CODING, FITTED_LIST
from .petrol_values import CODING

How = tuple[Callable[[Any, float], None], Callable[[Any], None]]


def number(path: str, sound: float | bool | None = 0.0, factor: float = 1.0) -> How:
    """A number of the car at a dotted path: ``size * factor``, mended ``sound``; a flag is set and taken back."""
    *owner, name = path.split(".")
    find: Callable[[Any], Any] = attrgetter(".".join(owner)) if owner else lambda car: car

    def put(car: Any, size: float) -> None:
        setattr(find(car), name, True if sound is False else size * factor)

    def mend(car: Any) -> None:
        setattr(find(car), name, sound)

    return put, mend


def _slip(name: str, none: float | bool = 0.0) -> How:
    """A slip of the hand."""

    def put(car: Any, size: float) -> None:
        car.hand.slips = replace(car.hand.slips, **{name: True if none is False else size})

    def mend(car: Any) -> None:
        car.hand.slips = replace(car.hand.slips, **{name: none})

    return put, mend


def _shown(kind: str, pid: int) -> How:
    """A parameter shown with ``bias`` or ``scatter`` of the fault's size, or ``frozen``."""

    def put(car: Any, size: float) -> None:
        getattr(car.engine_side, kind)[pid] = None if kind == "frozen" else size

    def mend(car: Any) -> None:
        getattr(car.engine_side, kind).pop(pid, None)

    return put, mend


def _hidden_load() -> How:
    def put(car: Any, size: float) -> None:
        car.powertrain.defects.hidden_a = size
        car.powertrain.redraw()

    def mend(car: Any) -> None:
        put(car, 0.0)

    return put, mend


def _wheel() -> How:
    """One segment is far from where it ought to be; mended, the old wheel is back."""

    def put(car: Any, size: float) -> None:
        errors = car.engine_side.wheel.error_permille
        car.running_faults.setdefault("wheel", list(errors))
        errors[1] = size

    def mend(car: Any) -> None:
        if "wheel" in car.running_faults:
            car.engine_side.wheel.error_permille = car.running_faults.pop("wheel")

    return put, mend


def _cooler() -> How:
    def put(car: Any, _size: float) -> None:
        car.powertrain.switch("cooler", on=True)

    def mend(car: Any) -> None:
        car.powertrain.switch("cooler", on=False)

    return put, mend


def _soaked() -> How:
    """Everything under the bonnet at one temperature."""

    def put(car: Any, size: float) -> None:
        heat = car.powertrain.temperatures
        heat.coolant_c = heat.bonnet_c = heat.intake_c = size

    return put, lambda _car: None


def _while_set(key: str, again: bool, what: Callable[[Any], None]) -> How:
    """Something that happens ``size`` seconds after it was set, with the key on and the engine off."""

    def put(car: Any, size: float) -> None:
        def due() -> None:
            if key in car.running_faults:
                if car.powertrain.key_on and not car.powertrain.running:
                    what(car)
                if again:
                    car.later(size, due)

        car.running_faults[key] = True
        car.later(size, due)

    def mend(car: Any) -> None:
        car.running_faults.pop(key, None)

    return put, mend


def _start(car: Any) -> None:
    car.powertrain.start()


def _sleep(car: Any) -> None:
    for module in car.modules:
        module.power_off()


_D = "powertrain.defects."
_T = "powertrain.temperatures."
_W = "engine_side.wheel."
_B = "powertrain.supply.battery."


def _f(family: Family, name: str, unit: str, sizes: tuple[float, float, float], shows: str, how: How) -> Fault[Any]:
    """A fault; ``sizes`` are lowest, highest and typical."""
    return Fault(name, family, unit, *sizes, shows, *how)


_ON = (1.0, 1.0, 1.0)

CONDITIONS = tuple(
    _f(Family.CONDITIONS, *fault)
    for fault in (
        ("engine cold", "°C", (-20.0, 60.0, 8.0), "coolant temperature", _soaked()),
        ("load left on", "A", (1.0, 60.0, 14.0), "supply voltage", _hidden_load()),
        ("phone charger on", "A", (0.5, 5.0, 2.0), "supply voltage", _hidden_load()),
        ("air conditioning on", "1", _ON, "idle target", _cooler()),
        ("engine starts itself", "s", (0.5, 600.0, 8.0), "engine speed", _while_set("starts", True, _start)),
        ("pedal held by the mat", "%", (1.0, 40.0, 6.0), "pedal sensor", number(_D + "pedal_rest", 0.0, 0.01)),
        ("fuel low", "l", (0.0, 10.0, 3.0), "fuel level", number("powertrain.fuel_l", 30.0)),
    )
)

HAND = tuple(
    _f(Family.HAND, *fault)
    for fault in (
        ("hand late", "s", (0.2, 10.0, 1.5), "moment of the act", _slip("late_s")),
        ("hand early", "s", (0.2, 4.0, 1.0), "pedal before its time of release", _slip("early_s")),
        ("press short", "s", (0.1, 5.0, 0.5), "length of the press", _slip("short_s")),
        ("press partial", "share", (0.2, 0.95, 0.8), "pedal at full press", _slip("partial")),
        ("released late", "s", (0.2, 10.0, 2.0), "pedal after release", _slip("long_s")),
        ("one more press", "1", _ON, "pedal after release", _slip("extra", False)),
        ("key bounced", "s", (0.1, 2.0, 0.5), "key-ons counted", _slip("bounce_s")),
        ("key one position short", "1", _ON, "modules stay silent", _slip("wrong_position", False)),
    )
)

MEASURE = tuple(
    _f(Family.MEASURE, *fault)
    for fault in (
        ("coolant frozen", "1", _ON, "coolant temperature", _shown("frozen", 0x05)),
        ("engine speed frozen", "1", _ON, "engine speed", _shown("frozen", 0x0C)),
        ("plate sensor noisy", "%", (0.1, 5.0, 1.0), "throttle position", _shown("scatter", 0x11)),
        ("manifold pressure offset", "kPa", (-15.0, 15.0, 6.0), "manifold pressure", _shown("bias", 0x0B)),
        ("intake temperature offset", "K", (-40.0, 40.0, 12.0), "intake temperature", _shown("bias", 0x0F)),
        ("coolant sensor offset", "K", (-40.0, 40.0, -15.0), "coolant temperature", number(_T + "sensor_k")),
        ("air meter reads", "share", (0.5, 1.5, 0.88), "long-term trim", number(_D + "meter_gain", 1.0)),
        ("plate sensors disagree", "%", (-20.0, 20.0, 8.0), "code P2135", number("powertrain.throttle.skew_b_pct")),
        ("pedal sensors disagree", "%", (-10.0, 10.0, 4.0), "code P2138", number("engine_side.pedal_unit.skew_e_pct")),
        ("pedal sensor noisy", "%", (0.1, 5.0, 1.0), "pedal sensor", number("engine_side.pedal_unit.noise_pct")),
        ("fan cycles", "K", (5.0, 40.0, 15.0), "supply voltage", number(_T + "fan_early_k")),
    )
)

CODED = tuple(
    _f(Family.CODING, *fault)
    for fault in (
        (
            "coding bytes swapped", "byte", (0.0, 4.0, 0.0), "body coding",
            rewritten("body", BODY_CODING, swapped, check=crc8),
        ),
        (
            "coding checksum wrong", "1", (1.0, 9.0, 1.0), "code B1A00-56",
            rewritten("body", BODY_CODING, other_market, sum_up=False),
        ),
        ("coding lost", "1", _ON, "code C1A00-55", rewritten("brakes", BRAKES_CODING, emptied)),
        ("market wrong", "1", (1.0, 9.0, 1.0), "engine coding", rewritten("engine", CODING, other_market)),
        ("unknown bits gone", "1", _ON, "gateway coding", rewritten("gateway", FITTED_LIST, unknown_bits_gone)),
        ("decimal for hexadecimal", "1", _ON, "engine coding", rewritten("engine", CODING, decimal_for_hex)),
        ("used module fitted", "number", (1.0, 999_999.0, 123_456.0), "VIN in the cluster", foreign_vin("cluster")),
    )
)  # fmt: skip

SUPPLY = tuple(
    _f(Family.SUPPLY, *fault)
    for fault in (
        ("supply dips while learning", "V", (8.0, 11.7, 11.4), "the learn refuses with 93", number(_D + "dip_v")),
        ("charger ripple", "V", (0.1, 3.0, 0.8), "supply voltage", number("engine_side.ripple_v")),
        ("battery nearly flat", "share", (0.0, 0.5, 0.08), "supply voltage", number(_B + "charge", 0.8)),
        ("bad contact", "ohm", (0.005, 0.2, 0.04), "supply voltage", number(_D + "contact_ohm")),
        ("alternator dead", "1", _ON, "supply voltage", number(_D + "no_alternator", False)),
        ("modules fall asleep", "s", (1.0, 3600.0, 600.0), "modules stay silent", _while_set("asleep", False, _sleep)),
    )
)

PARTS = tuple(
    _f(Family.PARTS, *fault)
    for fault in (
        ("intake leak", "mm²", (0.2, 12.0, 1.3), "fuel trims", number(_D + "leak_m2", 0.0, 1e-6)),
        ("purge valve stuck open", "share", (0.1, 1.0, 1.0), "purge", number(_D + "purge_stuck")),
        ("thermostat stuck open", "share", (0.1, 1.0, 0.8), "warm-up", number(_T + "stuck_open")),
        ("misfire", "share", (0.01, 0.4, 0.08), "scatter of the engine speed", number("powertrain.crank.misfire")),
        ("pedal bracket bent", "%", (0.5, 12.0, 6.0), "pedal sensor", number("engine_side.pedal_unit.bent_pct")),
        (
            "damper loose",
            "‰",
            (0.1, 3.0, 0.8),
            "tooth errors are not learned",
            number("engine_side.wheel.loose_permille"),
        ),
        ("wrong target wheel", "‰", (0.5, 9.0, 4.0), "misfire counts", _wheel()),
        ("engine module busy", "1", _ON, "answer 21", number("engine_side.busy", False)),
    )
)

PETROL_FAULTS = table(*CONDITIONS, *HAND, *MEASURE, *CODED, *SUPPLY, *PARTS, *LINK_FAULTS)
