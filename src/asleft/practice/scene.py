"""The demo's scene: the fictional workshop, its technician, the car's modules as the workshop knows them."""

from __future__ import annotations

from typing import Any

from asleft.job.modules import ModuleMap, module_map

WORKSHOP = "Gable Street Motors (fictional)"
TECHNICIAN = "M. Okafor"

#: What is said at the counter.
WORK_ITEM = "throttle-body-removed"

#: The Aldra 1.6's modules as our fictional workshop knows them; invented, as the car is.
ALDRA: ModuleMap = module_map(
    [
        {
            "name": "engine",
            "request": 0x7E0,
            "response": 0x7E8,
            "obd": True,
            "coding": {0x3B10: "engine variant"},
            "learned": {0x4C21: "learned lower stop", 0x4C23: "learned idle air"},
        },
    ]
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
