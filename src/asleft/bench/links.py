"""All links of a hosted bench car, in real time: CAN on loopback, K-line as a serial port, DoIP on request.

links = CarLinks(car, clock, LoopbackBus(channel, port, clock))
ready = await links.open(doip=True)
"""

from __future__ import annotations

import contextlib
from typing import Any

from asleft.ports.clock import Clock

from .car import BenchCar
from .doip import DoipServer
from .doip_messages import Entity
from .kline import KLine
from .kwp import KwpModule
from .loopback import LoopbackBus
from .module import ControlModule
from .pty_line import PtyLine

#: First logical address of a car's modules on DoIP; the others follow in the car's order.
FIRST_ADDRESS = 0x1001
_VIN = 0xF190
#: What event loop, terminal and program on a busy machine may add to the high level of a fast start, s.
_PTY_TOLERANCE_S = 0.2


class CarLinks:
    """Attaches a car to everything it has.

    Args: car: not attached yet. clock: real time. bus: CAN.
    """

    def __init__(self, car: BenchCar, clock: Clock, bus: LoopbackBus) -> None:
        self._car = car
        self._clock = clock
        self._bus = bus
        self._serial: PtyLine | None = None
        self._doip: DoipServer | None = None

    async def open(self, *, doip: bool = False) -> dict[str, Any]:
        """Attach the car; gives what a host tells of its links: serial (path), doip (ports, addresses).

        Raises: LinkError: a link cannot be had.
        """
        told: dict[str, Any] = {}
        line = None
        if any(isinstance(module, KwpModule) for module in self._car.modules):
            line = KLine(self._clock, level_tolerance_s=_PTY_TOLERANCE_S)
            self._serial = PtyLine(line)
            told["serial"] = self._serial.path
        self._car.attach(self._bus, self._clock, line)
        if doip:
            told["doip"] = await self._open_doip()
        return told

    async def close(self) -> None:
        """Detach the car and close everything but the bus."""
        if self._doip is not None:
            await self._doip.close()
        self._car.detach()
        if self._serial is not None:
            self._serial.close()

    async def _open_doip(self) -> dict[str, Any]:
        modules = [module for module in self._car.modules if isinstance(module, ControlModule)]
        addresses = {FIRST_ADDRESS + index: module for index, module in enumerate(modules)}
        entity = Entity(_vin(modules))
        self._doip = DoipServer(self._clock, entity, addresses)
        tcp, udp = await self._doip.open()
        names = {module.name: address for address, module in addresses.items()}
        return {"tcp": tcp, "udp": udp, "entity": entity.address, "modules": names}


def _vin(modules: list[ControlModule]) -> str:
    """VIN that the first module with one tells; zeros when there is none."""
    for module in modules:
        with contextlib.suppress(KeyError):
            return module.peek(_VIN).decode("ascii")
    return "0" * 17
