"""What the bench's tests share: a clock that they move, a bus, and a tester of few words."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from asleft.bench.bus import InLoopBus
from asleft.bench.clock import StepClock
from asleft.bench.module import Address, ControlModule
from asleft.bench.transport import IsoTpNode, TransportSettings


class Tester:
    """Asks one module and hears its answers, on can-isotp's logic."""

    __test__ = False

    def __init__(self, bus: InLoopBus, clock: StepClock, address: Address) -> None:
        self.clock = clock
        self.heard: list[tuple[float, bytes]] = []
        settings = TransportSettings(address.response, address.request, address.extended, address.functional)
        self.node = IsoTpNode(bus, clock, settings, self._hear, name="tester")

    def _hear(self, answer: bytes, functional: bool) -> None:
        self.heard.append((self.clock.now(), answer))

    def all(self, request: str, wait_s: float = 0.4, *, functional: bool = False) -> list[str]:
        """All answers within ``wait_s``, in hexadecimal."""
        self.heard.clear()
        self.node.send(bytes.fromhex(request), functional=functional)
        self.clock.run_until(self.clock.now() + wait_s)
        return [answer.hex() for _, answer in self.heard]

    def ask(self, request: str, wait_s: float = 0.4, *, functional: bool = False) -> str:
        """The last answer within ``wait_s``; empty when there was none."""
        return (self.all(request, wait_s, functional=functional) or [""])[-1]

    def times(self, request: str, wait_s: float) -> list[float]:
        """When answers came, s after the request."""
        start_s = self.clock.now()
        self.all(request, wait_s)
        return [moment - start_s for moment, _ in self.heard]


class Stand:
    """One module on a bus, a tester beside it, time in our hand."""

    def __init__(self, module: ControlModule) -> None:
        self.clock = StepClock()
        self.bus = InLoopBus(self.clock)
        self.module = module
        self.refreshed = 0
        module.attach(self.bus, self.clock, self._refresh)
        self.tester = Tester(self.bus, self.clock, module.address)

    def _refresh(self) -> None:
        self.refreshed += 1

    def on(self) -> Stand:
        """Key on, booted."""
        self.module.power_on()
        self.clock.run_until(self.clock.now() + self.module.timing.boot_s + 0.01)
        return self

    def tick(self, seconds: float, step_s: float = 0.1) -> None:
        """Let time pass with the car's ticks."""
        for _ in range(round(seconds / step_s)):
            self.clock.run_until(self.clock.now() + step_s)
            self.module.poll()


@pytest.fixture
def clock() -> StepClock:
    return StepClock()


@pytest.fixture
def bus(clock: StepClock) -> InLoopBus:
    return InLoopBus(clock)


@pytest.fixture
def stand() -> Callable[..., Stand]:
    """Makes a module at 7E0 from its arguments, puts it on a bus and switches it on."""

    def make(*, off: bool = False, **content: object) -> Stand:
        made = Stand(ControlModule("engine", Address.normal(0x7E0, 0x7E8), **content))  # type: ignore[arg-type]
        return made if off else made.on()

    return make
