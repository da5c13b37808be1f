"""What ways to a car this machine has: interfaces that are found, and what each kind needs.

Nothing is opened and nothing is sent: python-can is asked what it detects, and serial ports are listed by name.
"""

from __future__ import annotations

import logging
from pathlib import Path

import msgspec

#: Where serial ports appear on Linux.
_SERIAL = ("ttyUSB*", "ttyACM*", "ttyS[0-9]")


class FoundLink(msgspec.Struct, frozen=True):
    """One way to a car that seems to be there.

    Attributes:
        address: what to write, as far as known; a bit rate is never filled in.
        note: what is still needed.
    """

    address: str
    note: str


#: Kind of link to what it needs, for those who have none yet.
KINDS: dict[str, str] = {
    "can:": "a CAN interface with a python-can back end; the bit rate from listening or from the source; "
    "its terminator switched off at the diagnostic plug",
    "kline:": "a serial K-line interface at a port of this machine (Linux); writes stay closed on vehicles until its "
    "start was measured",
    "doip:": "a network cable to the car with its activation line, or the car's own network; the tester's address if "
    "the car does not take 0E00",
    "log:": "a log of frames: candump, ASC or BLF",
}

_RATE = "the bit rate from listening or from the source"


def found_links(folder: Path = Path("/dev")) -> tuple[FoundLink, ...]:
    """Interfaces that python-can detects, then serial ports. In-process and loopback buses are left out.

    Args: folder: where serial ports are looked for.
    """
    return (*_interfaces(), *_ports(folder))


def _interfaces() -> list[FoundLink]:
    import can  # noqa: PLC0415

    found: list[FoundLink] = []
    before = logging.root.manager.disable
    logging.disable(logging.CRITICAL)  # back ends without their driver say so at length
    try:
        configs = can.detect_available_configs()
    finally:
        logging.disable(before)
    for config in configs:
        interface, channel = str(config["interface"]), str(config["channel"])
        if interface not in ("virtual", "udp_multicast"):
            found.append(FoundLink(f"can:{interface}:{channel}", _RATE))
    return found


def _ports(folder: Path) -> list[FoundLink]:
    paths = sorted(path for pattern in _SERIAL for path in folder.glob(pattern))
    return [
        FoundLink(f"kline:{path}", "if a K-line interface is at this port; a serial CAN interface is can:slcan:PORT")
        for path in paths
    ]
