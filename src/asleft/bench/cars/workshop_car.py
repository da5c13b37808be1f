"""What all our bench cars have in common beyond the framework: faults, things set for later, the bus at hand."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any

from asleft.model.errors import Code, InputError
from asleft.ports.bus import Bus
from asleft.ports.clock import Clock

from ..bus import InLoopBus
from ..car import AnyModule, CarBase, Json
from ..gateway import Gateway, GatewaySettings
from ..identifiers import cell
from ..kline import KLine
from ..module import ControlModule
from .faults import Fault, FaultBox


class WorkshopCar(CarBase):
    """A bench car with faults.

    Args: name, modules, wiring: as `CarBase`. faults: those it can have, by name; each is called with the car.
    """

    def __init__(
        self,
        name: str,
        modules: Sequence[AnyModule],
        faults: Mapping[str, Fault[Any]],
        wiring: GatewaySettings | None = None,
    ) -> None:
        super().__init__(name, modules, wiring=wiring)
        self.faults: FaultBox[Any] = FaultBox(self, faults)
        self.running_faults: dict[str, Any] = {}
        self._bus: Bus | None = None
        self._line: KLine | None = None
        self._at_attach: list[Callable[[], None]] = []

    def attach(self, bus: Bus, clock: Clock, line: KLine | None = None) -> None:
        """Put all modules on bus and line and keep both at hand for faults."""
        super().attach(bus, clock, line)
        self._bus, self._line = bus, line
        waiting, self._at_attach = self._at_attach, []
        for what in waiting:
            what()

    def when_attached(self, what: Callable[[], None]) -> None:
        """Do something once, as soon as the car is on its bus."""
        self._at_attach.append(what)

    def detach(self) -> None:
        """Leave the bus."""
        super().detach()
        self._bus = self._line = None

    @property
    def clock(self) -> Clock:
        """The clock it is attached to. Raises InputError: none yet."""
        if self._clock is None:
            raise InputError(Code.ACT_UNKNOWN, "not attached to a bus yet", where=self.name)
        return self._clock

    @property
    def bus(self) -> Bus:
        """The bus it is attached to. Raises InputError: none yet."""
        if self._bus is None:
            raise InputError(Code.ACT_UNKNOWN, "not attached to a bus yet", where=self.name)
        return self._bus

    @property
    def line(self) -> KLine:
        """The K-line it is attached to. Raises InputError: none."""
        if self._line is None:
            raise InputError(Code.ACT_UNKNOWN, "not attached to a K-line", where=self.name)
        return self._line

    @property
    def loop_bus(self) -> InLoopBus:
        """Its bus, when frames can be tampered with on it. Raises InputError: it is not such a bus."""
        if not isinstance(self._bus, InLoopBus):
            raise InputError(Code.ACT_UNKNOWN, "frames can be tampered with on an in-loop bus only", where=self.name)
        return self._bus

    def bus_of(self, module: str) -> InLoopBus:
        """The bus a module is on: one behind the gateway, or the plug's. Raises InputError: as `loop_bus`."""
        rules = self.wiring
        for name, inner in rules.buses.items() if rules is not None else ():
            if module in inner.modules and name in self.buses:
                return self.buses[name]
        return self.loop_bus

    @property
    def wired_gateway(self) -> Gateway:
        """What passes frames between the plug and its inner buses. Raises InputError: it has none, or no bus yet."""
        if self.gateway is None:
            raise InputError(Code.ACT_UNKNOWN, "no gateway on a bus", where=self.name)
        return self.gateway

    def later(self, delay_s: float, what: Callable[[], None]) -> None:
        """Do something after a while on the car's clock; at once when it is not attached. Not part of a saved state."""
        clock = self._clock
        if clock is None:
            what()
            return

        def due() -> None:
            if self._clock is clock:
                self.advance()
                what()

        clock.call_at(clock.now() + delay_s, due)

    def module(self, name: str) -> ControlModule:
        """The control module on CAN of this name. Raises InputError: there is none."""
        for module in self.modules:
            if module.name == name and isinstance(module, ControlModule):
                return module
        raise InputError(Code.ACT_UNKNOWN, f"no module {name!r}", where=self.name)

    def rewrite(self, module: str, did: int, change: Callable[[bytes], bytes]) -> None:
        """Somebody has changed what a module has stored under an identifier, past all its rules."""
        memory = self.module(module).memory
        memory[cell(did)] = change(bytes(memory[cell(did)]))

    # -- acts ------------------------------------------------------------------------------------------------------

    def act_fault(self, name: str, size: float | None = None) -> float:
        """Set a fault by name and size (else its typical size)."""
        return self.faults.put(name, size)

    def act_mend(self, name: str) -> None:
        """Take a fault away again; what it did to memories and codes stays."""
        self.faults.mend(name)

    def act_faults(self) -> dict[str, dict[str, Json]]:
        """The faults this car can have: family, unit, sizes, what they show, and what is set."""
        return self.faults.listing()
