"""What the fictional workshop knows of its cars: where modules listen, and which identifier carries which signal.

Invented, as the cars are; the numbers stand in docs/manual-pages and docs/bench.md.
"""

from __future__ import annotations

from asleft.bench.cars.estate_table import address
from asleft.live.mapped import MappedSignal
from asleft.model.module import ModuleAddress
from asleft.model.own_signals import OWN_SIGNALS
from asleft.model.reading import Signal
from asleft.talk.modules import Form, MappedItem, MappedModule, ModuleMap

_NOTE = "workshop's note (fictional)"
#: No reading of these signals is told to be impossible: the module's own range is not known.
_ANY = 1e9
#: Told as 0 or 1: nothing was rounded, nothing is doubtful about the value itself.
_FLAGS = frozenset({"panel-learned", *(f"{what}-{n}" for what in ("listed", "heard") for n in (1, 2, 3))})


def _item(
    key: str, identifier: int, start: int, scale: float, *, length: int = 2, signed: bool = True, offset: float = 0.0
) -> MappedItem:
    unit, words = OWN_SIGNALS[key]
    return MappedItem(key, words, identifier, Form.NUMBER, start, length, signed, scale, offset, unit, _NOTE)


def signal(module: ModuleAddress, item: MappedItem, accuracy: float = 0.0) -> MappedSignal:
    """A signal that this module gives by this identifier."""
    step = 0.0 if item.key in _FLAGS else abs(item.scale)
    return MappedSignal(Signal(item.key, item.name, item.unit, -_ANY, _ANY, step, accuracy), module, item)


def _brevik(name: str) -> ModuleAddress:
    at = address(name)
    return ModuleAddress(name.replace(" ", "-"), at.request, at.response, at.extended)


ENGINE = ModuleAddress("engine", 0x7E0, 0x7E8)
STABILITY, ANGLE, ASSIST = _brevik("stability"), _brevik("steering angle"), _brevik("steering assist")
GEARBOX, DOOR, BATTERY = _brevik("transmission"), _brevik("door driver"), _brevik("battery monitor")
LAMPS, GATEWAY, PARKING = _brevik("headlamp levelling"), _brevik("gateway"), _brevik("parking brake")
HIGH_VOLTAGE = ModuleAddress("high-voltage-battery", 0x7B6, 0x7BE)

#: Learned zeros and references, by module.
STABILITY_ZEROS = (
    _item("learned-yaw-zero", 0x4D21, 0, 0.01),
    _item("learned-lateral-zero", 0x4D22, 0, 0.001),
    _item("learned-longitudinal-zero", 0x4D23, 0, 0.001),
    _item("learned-pressure-zero", 0x4D24, 0, 0.01),
)
ANGLE_ZERO = (_item("learned-angle-zero", 0x4D32, 0, 0.01),)
LOCKS = (_item("learned-left-lock", 0x4D43, 0, 0.1), _item("learned-right-lock", 0x4D43, 2, -0.1))
IDLE_AIR = (_item("learned-idle-air", 0x4C23, 0, 0.001),)
PEDAL_REST = (_item("learned-pedal-rest", 0x4C31, 0, 0.01, signed=False),)
STOP = (_item("learned-lower-stop", 0x4C21, 2, 0.01, signed=False),)
TEETH = tuple(_item(f"learned-tooth-{n + 1}", 0x4C32, 2 * n, 0.001) for n in range(4))
RETURN = (
    _item("learned-return-closed", 0x9D31, 0, 0.01, signed=False),
    _item("learned-return-travel", 0x9D31, 6, 0.01, signed=False),
)
INJECTORS = tuple(
    MappedItem(
        f"injector-code-{cylinder}", f"injector code, cylinder {cylinder}", 0x9D11 + place, Form.TEXT, source=_NOTE
    )
    for place, cylinder in enumerate((1, 3, 4, 2))
)
FILLS = tuple(_item(f"learned-fill-{n + 1}", 0x4E43, 4 * n, 0.001, signed=False) for n in range(3))
PITCH_ZERO = (_item("learned-pitch-zero", 0x3D5B, 0, 0.01),)
CONTACTS = (
    _item("contact-left", 0x4E32, 1, 0.1, length=1, signed=False),
    _item("contact-right", 0x4E32, 3, 0.1, length=1, signed=False),
)
FITTED = (MappedItem("coding", "fitted modules", 0x2D07, source=_NOTE),)
PANEL = (
    _item("panel-learned", 0x1A40, 0, 1.0, length=1, signed=False),
    _item("panel-travel", 0x1A40, 1, 0.1, signed=False),
)

BREVIK_SIGNALS = (
    signal(STABILITY, _item("yaw-rate", 0x4D11, 0, 0.01), 0.02),
    signal(STABILITY, _item("lateral-acceleration", 0x4D12, 0, 0.001), 0.01),
    signal(STABILITY, _item("longitudinal-acceleration", 0x4D13, 0, 0.001), 0.01),
    signal(STABILITY, _item("brake-pressure", 0x4D14, 0, 0.01), 0.1),
    *(signal(STABILITY, item) for item in STABILITY_ZEROS),
    signal(ANGLE, _item("steering-angle", 0x4D31, 0, 0.1), 0.2),
    *(signal(ANGLE, item) for item in ANGLE_ZERO),
    signal(ASSIST, _item("steering-torque", 0x4D41, 0, 0.01), 0.05),
    *(signal(ASSIST, item) for item in LOCKS),
    signal(GEARBOX, _item("gearbox-oil-temperature", 0x4E41, 0, 1.0, length=1, signed=False, offset=-40.0), 2.0),
    *(signal(GEARBOX, item) for item in FILLS),
    *(signal(GEARBOX, _item(f"engagement-time-{n + 1}", 0x4E44, 2 * n, 0.001, signed=False), 0.02) for n in range(3)),
    signal(DOOR, _item("panel-opening", 0x1A41, 0, 0.1, signed=False), 2.0),
    *(signal(DOOR, item) for item in PANEL),
    signal(BATTERY, _item("battery-current", 0x2B12, 0, 0.01), 0.3),
    *(
        signal(GATEWAY, _item(f"{what}-{n + 1}", did, 2 * n, 1.0, signed=False))
        for what, did in (("listed", 0x2D07), ("heard", 0x2D08))
        for n in range(3)
    ),
    *(
        signal(PARKING, _item(f"caliper-{what}-{side}", 0x4E31, at, 0.1, length=1, signed=False), accuracy)
        for what, first, accuracy in (("peak", 1, 0.2), ("time", 3, 0.05))
        for at, side in enumerate(("left", "right"), first)
    ),
    signal(LAMPS, _item("body-pitch", 0x3D5A, 0, 0.01), 0.05),
    *(signal(LAMPS, item) for item in PITCH_ZERO),
)
ALDRA_SIGNALS = tuple(signal(ENGINE, item) for item in (*PEDAL_REST, *TEETH))
DUNMERE_SIGNALS = (
    *(signal(ENGINE, item) for item in RETURN),
    signal(ENGINE, _item("return-valve-reading", 0x9D32, 0, 0.01, signed=False), 0.3),
    *(signal(ENGINE, _item(f"smoothness-{n + 1}", 0x9D20, 2 * n, 0.01), 0.05) for n in range(4)),
)
#: The older Aldra on its K-line.
ALDRA_LINE = ModuleMap((
    MappedModule(
        ModuleAddress("engine", 0x11, 0x11),
        learned=(MappedItem("learned-throttle-rest", "learned rest of the throttle", 0x21, Form.NUMBER, 0, 2, scale=0.01, unit="%", source=_NOTE),),
    ),
    MappedModule(ModuleAddress("brakes", 0x28, 0x28)),
))  # fmt: skip
TARNBECK_SIGNALS = (signal(HIGH_VOLTAGE, _item("isolation", 0xA1C0, 0, 1.0, signed=False), 20.0),)


def modules(*parts: tuple[ModuleAddress, tuple[MappedItem, ...]]) -> ModuleMap:
    """The modules that a job looks at, with what they have learned."""
    return ModuleMap(tuple(MappedModule(where, learned=learned) for where, learned in parts), wide=False)
