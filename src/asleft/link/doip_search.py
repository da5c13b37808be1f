"""Looking for DoIP entities: one vehicle identification request by UDP, and who answers.

Source: ISO 13400-2:2012, vehicle discovery: request to port 13400, answers within 0.5 s (recalled).
"""

from __future__ import annotations

import asyncio

import msgspec

from asleft.codec.doip import DoipBroken, VehicleAnnouncement, VehicleRequest, decode, encode
from asleft.model.errors import Code, LinkError

from .doip import PORT

#: How long answers are waited for, s.
_WAIT_S = 0.8
#: A request before the version is known carries this one. Source: ISO 13400-2 (recalled).
_ANY_VERSION = 0xFF


class Entity(msgspec.Struct, frozen=True):
    """One entity that answered: where it is, and what it says of itself."""

    host: str
    announcement: VehicleAnnouncement

    @property
    def address(self) -> str:
        """Address of a link to it."""
        return f"doip:{self.host}"


class _Answers(asyncio.DatagramProtocol):
    def __init__(self) -> None:
        self.found: dict[tuple[str, int], Entity] = {}

    def datagram_received(self, data: bytes, addr: tuple[str, int]) -> None:
        try:
            message = decode(data)
        except DoipBroken:
            return  # anybody may send to this port
        if isinstance(message, VehicleAnnouncement):
            self.found[addr[0], message.address] = Entity(addr[0], message)


async def find_entities(host: str = "255.255.255.255", port: int = PORT, wait_s: float = _WAIT_S) -> tuple[Entity, ...]:
    """Ask one host, or all on the local network, and gather who answers; nobody is an empty result.

    Raises: LinkError (no-bus): the request cannot be sent.
    """
    loop = asyncio.get_running_loop()
    try:
        transport, answers = await loop.create_datagram_endpoint(
            _Answers,
            local_addr=("0.0.0.0", 0),  # noqa: S104 - answers come from the car
            allow_broadcast=True,
        )
    except OSError as error:
        raise LinkError(Code.NO_BUS, str(error), host) from error
    try:
        transport.sendto(encode(VehicleRequest(), _ANY_VERSION), (host, port))
        await asyncio.sleep(wait_s)
    except OSError as error:
        raise LinkError(Code.NO_BUS, str(error), host) from error
    finally:
        transport.close()
    return tuple(sorted(answers.found.values(), key=lambda entity: (entity.host, entity.announcement.address)))
