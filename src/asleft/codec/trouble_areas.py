"""The areas into which the standard sorts trouble codes, in our own words.

Source: SAE J2012 / ISO 15031-6; recalled, not checked against the text.
"""

from __future__ import annotations

#: Letter to system.
SYSTEMS: dict[str, str] = {
    "P": "powertrain",
    "C": "chassis",
    "B": "body",
    "U": "network and module integration",
}

#: First two or three characters to area; the longer match is the closer one. Only ranges that the standard defines.
AREAS: dict[str, str] = {
    "P00": "Fuel, air and emission auxiliaries",
    "P01": "Fuel and air metering",
    "P02": "Fuel and air metering, injectors",
    "P03": "Ignition or misfire",
    "P04": "Emission auxiliaries",
    "P05": "Speed, idle control and auxiliary inputs",
    "P06": "Control module and its outputs",
    "P07": "Transmission",
    "P08": "Transmission",
    "P09": "Transmission",
    "P0A": "Hybrid or electric drive",
    "P0B": "Hybrid or electric drive",
    "P0C": "Hybrid or electric drive",
    "P0D": "Hybrid or electric drive",
    "P20": "Fuel, air and emission auxiliaries",
    "P21": "Fuel, air and emission auxiliaries",
    "P22": "Fuel, air and emission auxiliaries",
    "P23": "Ignition or misfire",
    "P24": "Emission auxiliaries",
    "P25": "Speed, idle control and auxiliary inputs",
    "P26": "Control module and its outputs",
    "P27": "Transmission",
    "P28": "Transmission",
    "P29": "Fuel, air and emission auxiliaries",
    "P34": "Cylinder deactivation",
    "C0": "Chassis: brakes, steering, suspension",
    "B0": "Body: restraints, comfort, displays",
    "U00": "Network wiring",
    "U01": "Lost communication with a module",
    "U02": "Lost communication with a module",
    "U03": "Software of modules does not fit together",
    "U04": "Invalid data from a module",
    "U05": "Invalid data from a module",
    "U3": "Module integration",
}
