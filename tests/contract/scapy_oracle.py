"""Run as a process of its own: answers questions with scapy (GPL-2.0), which no process of the project imports.

Reads one JSON object from standard input and writes one to standard output::

    {"parameters": [[pid, "hex"], ...], "tests": ["hex", ...], "codes": true, "uds": ["hex", ...]}
"""

from __future__ import annotations

import importlib
import json
import logging
import sys

logging.getLogger("scapy").setLevel(logging.ERROR)

from scapy.config import conf  # noqa: E402

conf.verb = 0

from scapy.contrib.automotive.doip import DoIP  # noqa: E402
from scapy.contrib.automotive.kwp import KWP  # noqa: E402
from scapy.contrib.automotive.obd.obd import OBD  # noqa: E402
from scapy.contrib.automotive.obd.packet import OBD_Packet  # noqa: E402, F401
from scapy.contrib.automotive.obd.services import OBD_DTC  # noqa: E402
from scapy.contrib.automotive.uds import UDS  # noqa: E402
from scapy.fields import ScalingField  # noqa: E402

MODULES = ["pids_00_1F", "pids_20_3F", "pids_40_5F", "pids_60_7F", "pids_80_9F", "pids_A0_C0"]


def parameter_classes() -> dict[int, type]:
    found = {}
    for name in MODULES:
        module = importlib.import_module(f"scapy.contrib.automotive.obd.pid.{name}")
        for attribute in dir(module):
            if attribute.startswith("OBD_PID"):
                found[int(attribute[7:], 16)] = getattr(module, attribute)
    return found


def scaled(packet: object) -> list[float]:
    return [float(packet.getfieldval(f.name)) for f in packet.fields_desc if isinstance(f, ScalingField)]


def record(reply: bytes) -> list[float]:
    found = OBD(reply).data_records[0].lastlayer()
    return [float(found.test_value), float(found.min_limit), float(found.max_limit)]


def trouble_text(number: int) -> str:
    packet = OBD_DTC(number.to_bytes(2, "big"))
    location, code1 = packet.getfieldval("location"), packet.getfieldval("code1")
    return f"{'PCBU'[location]}{code1}{packet.code2:X}{packet.code3:X}{packet.code4:X}"


def layers(packet: object) -> list[str]:
    return [layer.__name__ for layer in packet.layers()]


def main() -> None:
    asked = json.load(sys.stdin)
    classes = parameter_classes()
    answer = {
        "lengths": {f"{pid:02X}": len(bytes(cls())) for pid, cls in classes.items()},
        "parameters": [scaled(classes[pid](bytes.fromhex(data))) for pid, data in asked["parameters"]],
        "tests": [record(bytes.fromhex(data)) for data in asked["tests"]],
        "codes": [trouble_text(number) for number in range(0x10000)],
        "uds": [[layers(UDS(bytes.fromhex(data))), bytes(UDS(bytes.fromhex(data))).hex()] for data in asked["uds"]],
        "kwp": [layers(KWP(bytes.fromhex(data))) for data in asked["kwp"]],
        "doip": [
            {"type": packet.payload_type, "source": packet.source_address, "target": packet.target_address}
            for packet in (DoIP(bytes.fromhex(data)) for data in asked["doip"])
        ],
    }
    json.dump(answer, sys.stdout)


if __name__ == "__main__":
    main()
