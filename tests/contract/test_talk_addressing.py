"""Conversations in every addressing mode, classic and CAN FD, with modules on can-isotp as it comes.

One function a mode gives our address; the module's is written in can-isotp's own terms, so that both must mean the
same bytes. In virtual time.
"""

from __future__ import annotations

import asyncio

import isotp
import pytest

from asleft.job.clock import LoopClock, run_virtual
from asleft.link.bus_link import BusLink
from asleft.live.sampler import LinkSignals
from asleft.model.module import ModuleAddress, PictureKind
from asleft.talk.addresses import extended, fixed, mixed
from asleft.talk.conversations import Conversations
from asleft.talk.errors import ModuleSilent
from asleft.talk.modules import MappedModule, ModuleMap
from asleft.talk.pictures import take_picture
from kit.fake_module import receipt
from kit.stock_module import PlainBus, StockModule

Mode = isotp.AddressingMode


def answer(request: bytes) -> bytes:
    """Says the request again and forty bytes more: several frames."""
    return bytes((request[0] + 0x40,)) + request[1:] + bytes(range(40))


MODES: dict[str, tuple[ModuleAddress, isotp.Address]] = {
    "normal 11": (ModuleAddress("m", 0x740, 0x748), isotp.Address(Mode.Normal_11bits, txid=0x748, rxid=0x740)),
    "normal 29": (
        ModuleAddress("m", 0x1CDE0101, 0x1CDE0102, extended=True),
        isotp.Address(Mode.Normal_29bits, txid=0x1CDE0102, rxid=0x1CDE0101),
    ),
    "fixed 29": (fixed("m", 0x18), isotp.Address(Mode.NormalFixed_29bits, source_address=0x18, target_address=0xF1)),
    "extended 11": (
        extended("m", 0x6A1, 0x640, target=0x40),
        isotp.Address(Mode.Extended_11bits, txid=0x640, rxid=0x6A1, source_address=0x40, target_address=0xF1),
    ),
    "extended 29": (
        extended("m", 0x1ABCDE1, 0x1ABCDE2, target=0x40, wide=True),
        isotp.Address(Mode.Extended_29bits, txid=0x1ABCDE2, rxid=0x1ABCDE1, source_address=0x40, target_address=0xF1),
    ),
    "mixed 29": (
        mixed("m", 0x18, extension=0x21),
        isotp.Address(Mode.Mixed_29bits, source_address=0x18, target_address=0xF1, address_extension=0x21),
    ),
}


@pytest.mark.parametrize("fd", [0, 64], ids=["classic", "fd"])
@pytest.mark.parametrize("name", MODES)
def test_short_and_long_requests_are_answered(name: str, fd: int) -> None:
    """A request of three and one of thirty-one bytes, answers in several frames, in the form of the link."""
    ours, theirs = MODES[name]

    async def main(clock: LoopClock) -> None:
        bus = PlainBus(fd)
        module = StockModule(bus, theirs, answer, fd=fd)
        link = BusLink(bus, clock)
        await link.open()
        async with Conversations(link, clock, lambda _: None) as talk:
            for request in (b"\x22\xf1\x90", b"\x22" + bytes(range(30))):
                assert await talk.ask(ours, request) == answer(request)
        assert module.heard == [b"\x22\xf1\x90", b"\x22" + bytes(range(30))]
        assert {frame.fd for frame in bus.frames} == {bool(fd)}
        assert max(len(frame.data) for frame in bus.frames) == (max(fd, 8))

    run_virtual(main)


def test_two_modules_that_share_identifiers_are_told_apart_by_their_address_byte() -> None:
    """Both listen on 6A1: each gets its own questions, both at once; a third address is silent."""

    async def main(clock: LoopClock) -> None:
        bus = PlainBus()
        modules = [
            StockModule(
                bus,
                isotp.Address(
                    Mode.Extended_11bits, txid=0x600 + number, rxid=0x6A1, source_address=number, target_address=0xF1
                ),
                lambda request, number=number: bytes((request[0] + 0x40,)) + request[1:] + bytes((number,)) * 30,
            )
            for number in (0x40, 0x41)
        ]
        link = BusLink(bus, clock)
        await link.open()
        addresses = [extended(f"m{n:02X}", 0x6A1, 0x600 + n, target=n) for n in (0x40, 0x41)]
        async with Conversations(link, clock, lambda _: None) as talk:
            for did in range(20):
                request = b"\x22\x01" + bytes((did,))
                got = await asyncio.gather(*(talk.ask(a, request) for a in addresses))
                assert [data[3] for data in got] == [0x40, 0x41]
            await talk.carry_out(receipt(addresses[1], "2E010142"))
            with pytest.raises(ModuleSilent, match="6A1:55"):
                await talk.ask(extended("ghost", 0x6A1, 0x655, target=0x55), b"\x22\xf1\x90")
            assert set(talk.proved.modules) == {"6A1:55"}  # the others take no time on this bus
        assert [request[:1] == b"\x2e" for request in modules[0].heard].count(True) == 0
        assert modules[1].heard[-1] == bytes.fromhex("2E010142")

    run_virtual(main)


def test_a_picture_of_modules_in_every_mode() -> None:
    """A map may name modules of any mode; each is in the picture, told apart by where it is."""

    async def main(clock: LoopClock) -> None:
        bus = PlainBus()
        addresses: list[ModuleAddress] = []
        for number, (ours, theirs) in enumerate(MODES.values()):
            StockModule(bus, theirs, _identification(number))
            addresses.append(ModuleAddress(f"m{number}", *ours.place[:3], ours.request_prefix, ours.response_prefix))
        link = BusLink(bus, clock)
        await link.open()
        modules = ModuleMap(tuple(MappedModule(a) for a in addresses))
        async with Conversations(link, clock, lambda _: None) as talk:
            picture = await take_picture(PictureKind.AS_FOUND, modules, talk, clock, LinkSignals(talk, clock))
        assert [m.value("serial-number") for m in picture.modules] == [f"SERIAL-NUMBER-{n}" for n in range(len(MODES))]

    run_virtual(main)


def _identification(number: int):
    def script(request: bytes) -> bytes:
        if request == b"\x22\xf1\x8c":
            return b"\x62\xf1\x8cSERIAL-NUMBER-" + str(number).encode()
        return bytes((0x7F, request[0], 0x31))

    return script
