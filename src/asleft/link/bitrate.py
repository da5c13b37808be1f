"""The bit rate of a bus, found by listening: never by guessing on a live bus.

A wrong rate with acknowledgement on makes error frames that can push modules off the bus. So each candidate is tried
in listen-only mode; the one at which frames come, and no errors, is the rate::

    rate = await heard_bitrate(parse_can("can:slcan:/dev/ttyACM0"), clock)   # 500000, or None: nothing was heard

None is an answer too: behind many gateways the plug is silent. Then a person confirms the rate from the source.

Source: ISO 15765-4 has 250 and 500 kbit/s for standard OBD (recalled).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import msgspec

from asleft.model.errors import Code, InputError
from asleft.model.frame import CanFrame
from asleft.ports.clock import Clock

from .address import CanAddress, can_bus, may_listen
from .bus_link import BusLink
from .python_can import PythonCanBus

LEGISLATED = (500_000, 250_000)
#: So many frames without an error in between are a rate heard (common practice, no source).
_ENOUGH = 5
_LISTEN_S = 1.0

MakeBus = Callable[[CanAddress, Clock], PythonCanBus]


class Heard(msgspec.Struct, frozen=True):
    """What was heard at one rate."""

    bitrate: int
    frames: int
    errors: int

    @property
    def fits(self) -> bool:
        """Frames, and no error: this is the rate."""
        return self.frames >= _ENOUGH and self.errors == 0


async def heard_bitrate(
    address: CanAddress,
    clock: Clock,
    rates: Sequence[int] = LEGISLATED,
    listen_s: float = _LISTEN_S,
    make_bus: MakeBus = can_bus,
) -> int | None:
    """The first rate at which frames are heard without errors; None: none of them.

    Raises: InputError (link-address-bad): this interface cannot be told to only listen. LinkError (no-bus).
    """
    for rate in rates:
        heard = await listen_at(address, clock, rate, listen_s, make_bus)
        if heard.fits:
            return rate
    return None


async def listen_at(
    address: CanAddress, clock: Clock, rate: int, listen_s: float = _LISTEN_S, make_bus: MakeBus = can_bus
) -> Heard:
    """Listen at one rate, acknowledging nothing. Raises: as ``heard_bitrate``."""
    if not may_listen(address.interface):
        what = f"{address.interface} cannot be told to only listen from here: confirm the rate from the source"
        raise InputError(Code.LINK_ADDRESS_BAD, what, address.text)
    bus = make_bus(msgspec.structs.replace(address, bitrate=rate, listen=True), clock)
    link = BusLink(bus, clock)
    frames: list[CanFrame] = []
    await link.open()
    try:
        link.listen(frames.append)
        end_s = clock.now() + listen_s
        while clock.now() < end_s and bus.error_frames == 0 and len(frames) < 20 * _ENOUGH:
            await clock.sleep_until(min(end_s, clock.now() + 0.02))
    finally:
        await link.close()
    return Heard(rate, len(frames), bus.error_frames)
