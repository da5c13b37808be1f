"""What can go wrong on a bench bus, seeded: the same seed gives the same faults.

Rates are probabilities per frame (`lost` per frame and receiver)::

    bus.faults = Faults(seed=3, lost=0.01, only=lambda frame: frame.id == 0x7E8)
"""

from __future__ import annotations

import random
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from asleft.model.errors import Code, LinkError
from asleft.model.frame import CanFrame
from asleft.ports.clock import Clock, Timer

if TYPE_CHECKING:
    from asleft.ports.bus import Bus, BusNode


def every_frame(_frame: CanFrame) -> bool:
    """All frames are concerned."""
    return True


@dataclass
class Faults:
    """Rates of the faults of a bus.

    Attributes:
        seed: of the random choice.
        lost: a receiver misses the frame (its buffer overflowed); the sender does not notice.
        doubled: all receivers hear it twice (a repeater, a faulty gateway).
        delayed: heard ``delay_s`` later than it was on the wire, perhaps after its successors.
        delay_s: s.
        corrupted: one data byte is changed where no CRC guards it (gateway memory), so receivers take it.
        destroyed: an error frame breaks it off; CAN repeats it by itself, at the cost of time and error counts.
        only: the frames concerned.
    """

    seed: int = 0
    lost: float = 0.0
    doubled: float = 0.0
    delayed: float = 0.0
    delay_s: float = 0.02
    corrupted: float = 0.0
    destroyed: float = 0.0
    only: Callable[[CanFrame], bool] = every_frame
    _random: random.Random = field(init=False, repr=False)

    def __post_init__(self) -> None:
        self._random = random.Random(self.seed)  # noqa: S311 - a simulation, repeatable on purpose

    def _happens(self, rate: float, frame: CanFrame) -> bool:
        return rate > 0.0 and self.only(frame) and self._random.random() < rate

    def destroy(self, frame: CanFrame, bits: int) -> int | None:
        """After how many bits an error flag breaks the frame off; None: it gets through."""
        return self._random.randint(1, bits - 10) if self._happens(self.destroyed, frame) else None

    def loses(self, frame: CanFrame, _receiver: str) -> bool:
        """Whether one receiver misses it."""
        return self._happens(self.lost, frame)

    def deliveries(self, frame: CanFrame) -> tuple[tuple[float, CanFrame], ...]:
        """(delay in s, frame as heard), one for each time it is heard."""
        if not (self.doubled or self.delayed or self.corrupted):
            return ((0.0, frame),)
        if frame.data and self._happens(self.corrupted, frame):
            frame = self._change_byte(frame)
        delay_s = self.delay_s if self._happens(self.delayed, frame) else 0.0
        times = 2 if self._happens(self.doubled, frame) else 1
        return ((delay_s, frame),) * times

    def _change_byte(self, frame: CanFrame) -> CanFrame:
        data = bytearray(frame.data)
        data[self._random.randrange(len(data))] ^= self._random.randint(1, 255)
        return CanFrame(frame.id, bytes(data), frame.extended, frame.fd, frame.time_s)


#: Frames a talker has ready for each of its identifiers.
_VARIANTS = 16


class Talker:
    """A node that only sends: background load, or a flood.

    Args:
        bus: where it joins.
        clock: drives it.
        name: of the node.
        period_s: mean time between frames, s (they come at random, as those of many modules do); 0: as fast as the
            bus takes them (a flooding node).
        identifiers: used at random, with 8 bytes of chance.
        seed: of data and jitter.
    """

    def __init__(
        self, bus: Bus, clock: Clock, name: str, *, period_s: float, identifiers: tuple[int, ...], seed: int = 0
    ) -> None:
        self._clock = clock
        self._period_s = period_s
        self._random = random.Random(seed)  # noqa: S311 - a simulation, repeatable on purpose
        self._node: BusNode = bus.join(name, lambda _frame: None)
        self._frames = [
            CanFrame(identifier, self._random.randbytes(8)) for identifier in identifiers for _ in range(_VARIANTS)
        ]
        self._random.shuffle(self._frames)
        self._count = 0
        self._timer: Timer | None = None
        self._running = True
        if period_s > 0.0:
            self._next_s = clock.now() + self._random.random() * period_s
            self._timer = clock.call_at(self._next_s, self._periodic)
        else:
            self._keep_full()

    def stop(self) -> None:
        """Fall silent and leave the bus."""
        self._running = False
        if self._timer is not None:
            self._timer.cancel()
        self._node.leave()

    def _frame(self) -> CanFrame:
        self._count += 1
        return self._frames[self._count % len(self._frames)]

    def _periodic(self) -> None:
        try:
            self._node.send(self._frame())
        except LinkError as error:
            if error.code is not Code.LINK_LOST:
                raise
        self._next_s += self._random.expovariate(1.0 / self._period_s)
        self._timer = self._clock.call_at(self._next_s, self._periodic)

    def _keep_full(self) -> None:
        def again(_frame: CanFrame) -> None:
            if self._running:
                self._node.send(self._frame())

        self._node.sent = again  # pyright: ignore[reportAttributeAccessIssue]
        self._node.send(self._frame())
        self._node.send(self._frame())


def background_load(bus: Bus, clock: Clock, share: float, *, bitrate: int = 500_000, seed: int = 0) -> Talker:
    """Traffic of other modules that takes about ``share`` (0 to 0.95) of the bus time.

    Identifiers lie below and above the diagnostic ones (0A0 to 7A0), so that it both wins and loses.
    """
    mean_bits = 115.0  # of 8 data bytes of chance; between 111 and 133
    period_s = mean_bits / bitrate / share
    return Talker(
        bus, clock, f"load {share:.0%}", period_s=period_s, identifiers=tuple(range(0xA0, 0x7B0, 0x70)), seed=seed
    )
