"""The demo's scene: the fictional workshop, its technician, the car's modules as the workshop knows them."""

from __future__ import annotations

from typing import Any

from asleft.model.module import ModuleAddress
from asleft.talk.modules import Form, MappedItem, MappedModule, ModuleMap

WORKSHOP = "Gable Street Motors (fictional)"
TECHNICIAN = "M. Okafor"

#: What is said at the counter.
WORK_ITEM = "throttle-removed-refitted"


def _coding(identifier: int, name: str) -> MappedItem:
    return MappedItem("coding", name, identifier, source=_NOTE)


_NOTE = "workshop's note on the Aldra 1.6 (fictional)"

#: The Aldra 1.6's modules as our fictional workshop knows them; invented, as the car is.
ALDRA = ModuleMap(
    modules=(
        MappedModule(
            ModuleAddress("engine", 0x7E0, 0x7E8),
            coding=(_coding(0x3B10, "engine variant"),),
            learned=(
                MappedItem(
                    "learned-lower-stop",
                    "learned lower stop",
                    0x4C21,
                    Form.NUMBER,
                    2,
                    2,
                    scale=0.01,
                    unit="%",
                    source=_NOTE,
                ),
                MappedItem(
                    "learned-idle-air",
                    "learned idle air",
                    0x4C23,
                    Form.NUMBER,
                    0,
                    2,
                    signed=True,
                    scale=0.001,
                    unit="g/s",
                    source=_NOTE,
                ),
            ),
        ),
        MappedModule(ModuleAddress("brakes", 0x6B2, 0x6B3), coding=(_coding(0x3B20, "brakes variant"),)),
        MappedModule(ModuleAddress("body", 0x6C4, 0x6C5), coding=(_coding(0x3B30, "body options"),)),
        MappedModule(ModuleAddress("cluster", 0x6D6, 0x6D7), coding=(_coding(0x3B40, "cluster options"),)),
        MappedModule(ModuleAddress("gateway", 0x6A0, 0x6A1), coding=(_coding(0x3B50, "fitted modules"),)),
    ),
    wide=False,
)


def demo_order(vin: str) -> dict[str, Any]:
    """The demo's repair order."""
    return {
        "vin": vin,
        "make": "Aldra",
        "model": "1.6",
        "year": 2019,
        "displacement_l": 1.6,
        "work_items": [WORK_ITEM],
        "order": "idle hunts; throttle body removed, cleaned and refitted",
    }
