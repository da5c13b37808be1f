"""The demo's scene: the fictional workshop, its technician, the car's modules as the workshop knows them."""

from __future__ import annotations

from typing import Any

from asleft.job.facts import workshop_facts
from asleft.job.workshop import Workshop
from asleft.model.fact import Fact, FactKey
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


#: The fictional workshop's settings, as far as they stand in each record.
SETTINGS = Workshop(
    workshop=WORKSHOP,
    technician=TECHNICIAN,
    address="4 Gable Street (fictional)",
    licence="licence 0031 (fictional)",
    interface="bench interface, serial 99-0412",
    gauges=("hand thermometer 3, check due 2031-09",),
)


def settings_facts() -> tuple[Fact, ...]:
    """What these settings, the program and its clock say at the record's begin."""
    return (
        *workshop_facts(SETTINGS),
        Fact(FactKey.INTERFACE_FIRMWARE, "none: the bench bus is a part of the program"),
        Fact(FactKey.CLOCK_ERROR, "not known: the time is simulated"),
    )


def _said(key: FactKey, text: str, unit: str = "", evidence: str = "declared", source: str = "") -> dict[str, str]:
    return {"key": key.value, "text": text, "unit": unit, "evidence": evidence, "source": source}


#: What is said and seen at the counter. Invented, as everything here.
AT_THE_COUNTER = (
    _said(FactKey.CUSTOMER, "customer 117"),
    _said(FactKey.COMPLAINT, "the idle goes up and down, worst at the lights", source="customer"),
    _said(FactKey.PLATE, "GS 417", evidence="observed", source="plate"),
    _said(FactKey.ODOMETER_IN, "84112", "km", "observed", "cluster display"),
    _said(FactKey.PROPULSION, "petrol", evidence="observed", source="filler cap"),
    _said(FactKey.VARIANT, "five doors", evidence="observed", source="the car"),
    _said(FactKey.AMENDS, "none"),
    _said(FactKey.WORK_BY, "this workshop, M. Okafor"),
)

#: What is said before the record is closed. No road test is made, and the record says so.
BEFORE_HAND_OVER = (
    _said(FactKey.PART_FITTED, "gasket ALD-11-204", evidence="document", source="delivery note 3381"),
    _said(FactKey.ODOMETER_OUT, "84112", "km", "observed", "cluster display"),
    _said(FactKey.TYRES, "not touched"),
    _said(FactKey.DECLINED, "none", source="customer"),
    _said(FactKey.ROAD_REMARKS, "no road test: the car stood on the bench the whole time"),
    _said(FactKey.ADVISORY, "air filter dirty", evidence="observed", source="eye"),
    _said(FactKey.FOLLOW_UP, "cold start tomorrow morning; two weeks' driving until the self-tests have run"),
    _said(FactKey.SECOND_PERSON, "none: risk class 1"),
    _said(FactKey.APPROVER, "L. Brandt"),
    _said(FactKey.ACKNOWLEDGED, "told what stays open and the air filter", source="customer"),
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
        "facts": list(AT_THE_COUNTER),
    }
