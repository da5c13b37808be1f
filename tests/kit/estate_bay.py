"""The estate on its bus, time in our hand, asked past its gateway."""

from __future__ import annotations

from typing import Any

from asleft.bench.bus import InLoopBus
from asleft.bench.cars.estate import EstateCar
from asleft.bench.clock import StepClock
from asleft.bench.transport import IsoTpNode, TransportSettings


class Bay:
    """The car on its bus, time in our hand."""

    def __init__(self, seed: int = 1, fault: str | None = None, *, warm: bool = True) -> None:
        self.clock = StepClock()
        self.car = EstateCar(seed, warm=warm)
        self.car.attach(InLoopBus(self.clock), self.clock)
        self.fault = fault
        self.seen: dict[str, Any] = {}

    def set(self) -> None:
        if self.fault is not None:
            self.car.act("fault", name=self.fault)

    def wait(self, seconds: float) -> None:
        self.clock.run_until(self.clock.now() + seconds)

    def do(self, what: str, seconds: float = 0.0, /, **args: object) -> None:
        self.car.act(what, **args)
        self.wait(seconds)

    def ask(self, module: str, request: str) -> bytes:
        return self.car.module(module).handle(bytes.fromhex(request)) or b""

    def say(self, module: str, request: str, seconds: float = 1.0) -> bytes:
        """Ask over the bus, through the gateway; the last answer within the time."""
        where = self.car.module(module).address
        heard: list[bytes] = []
        settings = TransportSettings(where.response, where.request, where.extended)
        node = IsoTpNode(self.car.bus, self.clock, settings, lambda answer, _f: heard.append(answer), name="tester")
        node.send(bytes.fromhex(request))
        self.wait(seconds)
        node.leave()
        return heard[-1] if heard else b""

    def value(self, module: str, did: int, step: float) -> float:
        self.car.advance()
        return int.from_bytes(self.car.module(module).peek(did)[:2], "big", signed=True) * step

    def values(self, module: str, did: int, step: float, seconds: float) -> list[float]:
        found: list[float] = []
        for _ in range(round(seconds * 10)):
            self.wait(0.1)
            found.append(self.value(module, did, step))
        return found

    def routine(self, module: str, rid: int, seconds: float) -> int:
        """Start it and wait; the state, or the refusal code when it is not started."""
        self.ask(module, "1003")
        answer = self.ask(module, f"3101{rid:04X}")
        if answer[0] == 0x7F:
            return answer[2]
        for _ in range(round(seconds) + 1):
            self.wait(1.0)
            self.ask(module, "3E00")
        return self.ask(module, f"3103{rid:04X}")[4]

    def zero_yaw(self) -> str:
        """Start the zero of yaw rate and accelerations; what the lamp does when it ought to have ended."""
        self.ask("stability", "1003")
        assert self.ask("stability", "31015B11")[0] == 0x71
        self.wait(4.0)
        self.ask("stability", "3E00")
        self.wait(3.0)
        assert self.ask("stability", "31035B11") == b"\x7f\x31\x12"
        return str(self.car.act("look_at_lamp"))

    def codes(self) -> dict[str, set[str]]:
        return {
            module.name: {f"{code:06X}" for code in module.codes.matching(0x01)}
            for module in self.car.modules
            if module.codes.matching(0x01)
        }

    def drive(self, km_h: float, seconds: float) -> None:
        self.do("key", 3.0, position="on")
        self.do("key", 10.0, position="start")
        self.do("brake", pressed=True)
        self.do("selector", position="D")
        self.do("steer", degrees=None)
        self.do("drive", seconds, km_h=km_h)
