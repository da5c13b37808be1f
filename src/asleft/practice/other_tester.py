"""Somebody else's tester on the bench car's bus: for procedures carried out beside one.

It is a node of its own with its own requests; ours is silent meanwhile. What it sends is data of the play.
"""

from __future__ import annotations

from typing import Any

from asleft.bench.bus import InLoopBus
from asleft.model.frame import CanFrame
from asleft.ports.clock import Clock

from .driver import CarActs

#: Act of a play that it carries out itself.
ACT = "other_tester"


class WithOtherTester:
    """Acts at a car, and those of another tester beside ours.

    Args: car: everything else goes there. bus: where its node is plugged in. clock: the bus's.
    """

    def __init__(self, car: CarActs, bus: InLoopBus, clock: Clock) -> None:
        self._car = car
        self._bus = bus
        self._clock = clock

    async def act(self, name: str, /, **args: Any) -> Any:
        """Do one act: ``other_tester(request, session, start, work_s)`` opens its session, starts, keeps it alive.

        Args of that act: request: identifier of the module's requests. start: hex of what it starts with. work_s: how
        long its session is kept, s.
        """
        if name != ACT:
            return await self._car.act(name, **args)
        await self._work(int(args["request"]), str(args["start"]), float(args["work_s"]))
        return None

    async def _work(self, request: int, start: str, work_s: float) -> None:
        node = self._bus.join("other tester", lambda _frame: None)

        async def send(payload: str, after_s: float) -> None:
            await self._clock.sleep_until(self._clock.now() + after_s)
            data = bytes.fromhex(payload)
            node.send(CanFrame(request, bytes((len(data),)) + data + b"\xcc" * (7 - len(data)), request > 0x7FF))

        await send("1003", 3.0)
        await send(start, 0.5)
        for _ in range(int(work_s // 2.0)):
            await send("3E80", 2.0)
        node.leave()
