"""What a bench car is: its modules, the acts of driver and workshop, its physics, its truth.

A car class derives from `CarBase`, builds its control modules in ``__init__`` from callables that read its physics, and
fills in `CarBase.advance_to`, `CarBase.truth` and one ``act_<name>`` method for every act::

    class Petrol(CarBase):
        def __init__(self, seed: int = 0) -> None:
            self.engine = EnginePhysics(seed)
            super().__init__("petrol", [engine_module(self.engine), ...])

        def advance_to(self, t_s: float) -> None:
            self.engine.advance_to(t_s)

        def act_key(self, position: str) -> None:
            '''Turn the key: off, on, start.'''
            self.advance()
            self.engine.key = position
            self.set_power(position != "off")

The same object serves two hosts: on an in-loop bus in virtual time, and in a process of its own (`host`).
Time of the car, t_s, is 0 when it is attached and goes on with the clock.
"""

from __future__ import annotations

import inspect
import math
from collections.abc import Callable, Mapping, Sequence
from typing import Any, Protocol, cast, runtime_checkable

from asleft.model.errors import Code, InputError
from asleft.ports.bus import Bus
from asleft.ports.clock import Clock, Timer

from .bus import InLoopBus
from .gateway import Gateway, GatewaySettings
from .kline import KLine
from .kwp import KwpModule
from .module import ControlModule

#: What a car may hold.
AnyModule = ControlModule | KwpModule

#: What acts take and truth gives back: JSON values.
Json = Any


@runtime_checkable
class BenchCar(Protocol):
    """What a host needs of a car. Physics and modules behind it are nobody else's business."""

    @property
    def name(self) -> str:
        """Name of the car, for messages."""
        ...

    @property
    def modules(self) -> Sequence[AnyModule]:
        """Its control modules, gateway first if it has one."""
        ...

    def now_s(self) -> float:
        """Car time, s."""
        ...

    def attach(self, bus: Bus, clock: Clock, line: KLine | None = None) -> None:
        """Put all modules on the bus, those with a K-line on ``line``; the car's time starts at 0.

        Power is as the car was left (new: key off).
        """
        ...

    def detach(self) -> None:
        """Leave the bus and stop all timers."""
        ...

    def act(self, name: str, /, **args: Json) -> Json:
        """Do one act of driver or workshop now. Raises InputError: unknown act or argument; the message lists them."""
        ...

    def acts(self) -> Mapping[str, str]:
        """Name of each act -> its signature and first docstring line."""
        ...

    def advance_to(self, t_s: float) -> None:
        """Bring the physics to car time t_s (s); never backwards; called before values are read and at each tick."""
        ...

    def truth(self) -> Mapping[str, Json]:
        """The true state, for grading only; never reachable through the bus."""
        ...


class CarBase:
    """Common part of all bench cars: attaching, ticking, power, acts, saved state.

    Args:
        name: name of the car.
        modules: its control modules.
        tick_s: period of the fixed tick (physics, then each module's `ControlModule.poll`), s.
        wiring: buses behind a gateway; modules that stand in none of them are on the plug's bus.

    Attributes: wiring: as given. gateway: once attached, the gateway, if there is one. buses: its inner buses by name.
    """

    def __init__(
        self,
        name: str,
        modules: Sequence[AnyModule],
        tick_s: float = 0.1,
        wiring: GatewaySettings | None = None,
    ) -> None:
        self.name = name
        self.gateway: Gateway | None = None
        self.buses: dict[str, InLoopBus] = {}
        self.wiring = wiring
        self.modules: Sequence[AnyModule] = tuple(modules)
        self.tick_s = tick_s
        self._clock: Clock | None = None
        self._start_s = 0.0
        self._timer: Timer | None = None
        self._powered = False

    # -- hosting ---------------------------------------------------------------------------------------------------

    def attach(self, bus: Bus, clock: Clock, line: KLine | None = None) -> None:
        """Put all modules on the bus; the car's time goes on from where it was (new: 0).

        Raises: InputError: it has a module on a K-line and no line was given.
        """
        lines = [module for module in self.modules if isinstance(module, KwpModule)]
        if lines and line is None:
            raise InputError(Code.ACT_UNKNOWN, f"{lines[0].name} is on a K-line, and there is none", where=self.name)
        self._start_s = clock.now() - self._start_s
        self._clock = clock
        inner = self._wire(bus, clock)
        for module in self.modules:
            if not isinstance(module, KwpModule):
                place = inner.get(module.name)
                module.attach(place or bus, clock, refresh=self.advance)
                if place is not None and self.gateway is not None:
                    self.gateway.route(place, module.address)
            elif line is not None:
                module.attach_line(line, clock, refresh=self.advance)
        self._schedule_tick()

    def _wire(self, plug: Bus, clock: Clock) -> dict[str, InLoopBus]:
        """Make gateway and inner buses; gives the inner bus of each module that has one."""
        if self.wiring is None:
            return {}
        rules = self.wiring
        self.gateway = Gateway(
            clock,
            plug,
            limit=rules.limit,
            overload=rules.overload,
            delay_s=rules.delay_s,
            timeout_s=rules.timeout_s,
            denied=rules.denied,
        )
        self.buses = {name: InLoopBus(clock, inner.bitrate) for name, inner in rules.buses.items()}
        return {module: self.buses[name] for name, inner in rules.buses.items() for module in inner.modules}

    def detach(self) -> None:
        """Leave the bus and stop all timers; the car can be attached again."""
        if self._clock is None:
            return
        self.advance()
        if self._timer is not None:
            self._timer.cancel()
        for module in self.modules:
            module.detach()
        if self.gateway is not None:
            self.gateway.close()
            self.gateway = None
        self._start_s = self.now_s()
        self._clock = None

    def now_s(self) -> float:
        """Car time, s; what it was last when not attached."""
        return self._start_s if self._clock is None else self._clock.now() - self._start_s

    def advance(self) -> None:
        """Bring the physics to the present."""
        self.advance_to(self.now_s())

    def _schedule_tick(self) -> None:
        clock = self._clock
        if clock is not None:
            ticks = math.floor(self.now_s() / self.tick_s + 1e-6) + 1
            self._timer = clock.call_at(self._start_s + ticks * self.tick_s, self._tick)

    def _tick(self) -> None:
        self.advance()
        for module in self.modules:
            module.poll()
        self._schedule_tick()

    # -- power -----------------------------------------------------------------------------------------------------

    @property
    def powered(self) -> bool:
        """Whether the modules have terminal power (key on)."""
        return self._powered

    def set_power(self, on: bool) -> None:
        """Key on or off for all modules: wakes them (boot, new operation cycle) or makes them silent."""
        if on == self._powered:
            return
        self._powered = on
        for module in self.modules:
            if on:
                module.power_on()
            else:
                module.power_off()

    def disconnect_battery(self) -> None:
        """Take the battery's supply away and give it back: what is kept by battery only is lost."""
        was_on = self._powered
        self.set_power(False)
        for module in self.modules:
            module.battery_lost()
        self.set_power(was_on)

    # -- to be filled in by a car ----------------------------------------------------------------------------------

    def advance_to(self, t_s: float) -> None:
        """Bring the physics to car time t_s, s."""
        raise NotImplementedError

    def truth(self) -> Mapping[str, Json]:
        """The true state, JSON values, for grading only."""
        raise NotImplementedError

    def save_physics(self) -> dict[str, Json]:
        """State of the physics as JSON values, for `save`."""
        raise NotImplementedError

    def restore_physics(self, state: Mapping[str, Json]) -> None:
        """Take over what `save_physics` gave."""
        raise NotImplementedError

    # -- acts ------------------------------------------------------------------------------------------------------

    def acts(self) -> Mapping[str, str]:
        """Name of each act -> its signature and first docstring line."""
        found: dict[str, str] = {}
        for attribute in sorted(dir(type(self))):
            if attribute.startswith("act_"):
                method = getattr(self, attribute)
                summary = (inspect.getdoc(method) or "").partition("\n")[0]
                found[attribute[4:]] = f"{_signature(method)} {summary}"
        return found

    def act(self, name: str, /, **args: Json) -> Json:
        """Bring the physics to now and do one act. Raises InputError: unknown act or arguments that do not fit."""
        method = cast("Callable[..., Json] | None", getattr(self, f"act_{name}", None))
        if method is None:
            raise InputError(Code.ACT_UNKNOWN, f"{name}; there are {', '.join(self.acts())}", where=self.name)
        try:
            inspect.signature(method).bind(**args)
        except TypeError as error:
            raise InputError(Code.ACT_UNKNOWN, f"{name}{_signature(method)}: {error}", where=self.name) from error
        self.advance()
        return method(**args)

    # -- saved state -----------------------------------------------------------------------------------------------

    def save(self) -> dict[str, Json]:
        """The whole car as JSON values: time, power, physics, every module's memory."""
        self.advance()
        return {
            "car": self.name,
            "t_s": self.now_s(),
            "powered": self._powered,
            "physics": self.save_physics(),
            "modules": {module.name: module.save() for module in self.modules},
        }

    def restore(self, state: Mapping[str, Json]) -> None:
        """Take over what `save` gave; the car must be newly built and not attached.

        Raises: InputError: the state is of another car.
        """
        if state.get("car") != self.name:
            raise InputError(Code.ACT_UNKNOWN, f"saved state is of {state.get('car')!r}", where=self.name)
        self._start_s = float(state["t_s"])
        self._powered = bool(state["powered"])
        self.restore_physics(state["physics"])
        for module in self.modules:
            module.restore(state["modules"][module.name], powered=self._powered)


def _signature(method: Callable[..., Json]) -> str:
    return str(inspect.signature(method)).replace("'", "")
