"""Words for the coded OBD parameters, our own short ones.

Source: SAE J1979 / ISO 15031-5 tables; 03 from the check values, the others recalled.
"""

from __future__ import annotations

FUEL_SYSTEM: dict[int, str] = {
    0: "none",
    1: "open loop: not ready for closed loop yet",
    2: "closed loop",
    4: "open loop: load or overrun fuel cut-off",
    8: "open loop: a fault",
    16: "closed loop, with a fault in one sensor",
}

SECONDARY_AIR: dict[int, str] = {
    1: "before the catalyst",
    2: "after the catalyst",
    4: "to the atmosphere, or off",
    8: "pump on for a test",
}

OBD_STANDARD: dict[int, str] = {
    1: "OBD II (California)",
    2: "OBD (federal)",
    3: "OBD and OBD II",
    4: "OBD I",
    5: "not meant to meet any",
    6: "EOBD",
    7: "EOBD and OBD II",
    8: "EOBD and OBD",
    9: "EOBD, OBD and OBD II",
    10: "JOBD",
    11: "JOBD and OBD II",
    12: "JOBD and EOBD",
    13: "JOBD, EOBD and OBD II",
}

FUEL_TYPE: dict[int, str] = {
    0: "not available",
    1: "petrol",
    2: "methanol",
    3: "ethanol",
    4: "diesel",
    5: "liquefied petroleum gas",
    6: "compressed natural gas",
    7: "propane",
    8: "electric",
    9: "bi-fuel on petrol",
    10: "bi-fuel on methanol",
    11: "bi-fuel on ethanol",
    12: "bi-fuel on liquefied petroleum gas",
    13: "bi-fuel on compressed natural gas",
    14: "bi-fuel on propane",
    15: "bi-fuel on electricity",
    16: "bi-fuel on electricity and an engine",
    17: "hybrid, petrol",
    18: "hybrid, ethanol",
    19: "hybrid, diesel",
    20: "hybrid, electric",
    21: "hybrid, electric and an engine",
    22: "hybrid, regenerative",
    23: "bi-fuel on diesel",
}

ON_OFF: dict[int, str] = {0: "off", 1: "on"}
NEUTRAL_OR_DRIVE: dict[int, str] = {0: "park or neutral", 1: "in gear"}
NEUTRAL_OR_GEAR: dict[int, str] = {0: "neutral, or clutch pressed", 1: "in gear"}
