"""Addresses of links: what is written is what is opened, and a slip of the pen is never a guessed bit rate."""

from __future__ import annotations

import asyncio

import pytest
from hypothesis import given
from hypothesis import strategies as st

from asleft.job.clock import real_clock
from asleft.link.address import CanAddress, make_any_link, make_link, parse_can
from asleft.model.errors import Code, InputError, LinkError


def test_reads_the_form_people_write() -> None:
    """Interface, channel, bit rate and a back end's own setting; colons in a channel stay in it."""
    assert parse_can("can:socketcan:can0?bitrate=500000") == CanAddress("socketcan", "can0", 500_000)
    assert parse_can("can:udp_multicast:ff15::1?option.port=43113&fd=1") == CanAddress(
        "udp_multicast", "ff15::1", None, True, False, {"port": "43113"}
    )


words = st.text("abcdefghijklmnopqrstuvwxyz0123456789_", min_size=1, max_size=8)


@given(
    words,
    words,
    st.none() | st.integers(10_000, 1_000_000),
    st.booleans(),
    st.booleans(),
    st.dictionaries(words, words, max_size=3),
)
def test_the_written_form_reads_back(
    interface: str, channel: str, bitrate: int | None, fd: bool, listen: bool, options: dict[str, str]
) -> None:
    """Every address reads back from its own text."""
    address = CanAddress(interface, channel, bitrate, fd, listen, options)
    assert parse_can(address.text) == address


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "write can:"),
        ("can0", "write can:"),
        ("can:socketcan", "write can:"),
        ("can:socketcan:", "write can:"),
        ("tcp:somewhere:1", "begin with one of: can:"),
        ("can:socketcan:can0?bitrat=500000", "bitrat is not known; keys: bitrate, fd, listen, option.NAME"),
        ("can:socketcan:can0?bitrate=500k", "write bit/s between 10000 and 1000000"),
        ("can:socketcan:can0?bitrate=5", "write bit/s between"),
        ("can:socketcan:can0?bitrate=500000&bitrate=250000", "bitrate stands twice"),
        ("can:socketcan:can0?fd=yes", "write fd=1 or fd=0"),
        ("can:socketcan:can0?bitrate", "key=value"),
        ("can:nosuch:can0", "python-can has no back end 'nosuch'"),
        ("can:socketcan:can0?listen=1", "cannot be told to only listen from here"),
        ("doip:", "write doip:HOST"),
        ("doip:car:x", "write doip:HOST"),
        ("doip:car?tester=XYZ", "up to four hexadecimal digits"),
        ("doip:car?bitrate=1", "bitrate is not known; keys: tester, group, kind"),
        ("kline:", "write kline:DEVICE"),
        ("kline:/dev/x?baud=fast", "write kline:DEVICE"),
        ("log:", "write log:FILE"),
    ],
)
def test_a_wrong_address_says_what_to_write(text: str, says: str) -> None:
    """Each wrong address ends in one sentence that names the place and the remedy."""

    async def main() -> None:
        with pytest.raises(InputError) as caught:
            make_any_link(text, real_clock())
        assert caught.value.code is Code.LINK_ADDRESS_BAD
        assert says in caught.value.sentence()
        assert caught.value.where == text

    asyncio.run(main())


def test_an_interface_that_is_not_there_is_no_bus() -> None:
    """A driver's own words come through as a no-bus error."""

    async def main() -> None:
        link = make_link("can:socketcan:no-such-interface?bitrate=500000", real_clock())
        with pytest.raises(LinkError) as caught:
            await link.open()
        assert caught.value.code is Code.NO_BUS
        assert "no-such-interface" in caught.value.sentence()

    asyncio.run(main())


@pytest.mark.parametrize(
    ("text", "name"),
    [
        ("doip:192.168.5.20", "doip:192.168.5.20:13400?tester=0E00"),
        ("doip:car.local:1234?tester=0E80", "doip:car.local:1234?tester=0E80"),
        ("kline:/dev/ttyUSB0", "kline:/dev/ttyUSB0"),
        ("log:/tmp/a.asc", "log:a.asc"),
        ("can:virtual:x?bitrate=250000", "can:virtual:x?bitrate=250000"),
    ],
)
def test_every_scheme_makes_its_link(text: str, name: str) -> None:
    """Not opened, with the name that goes into the record."""

    async def main() -> None:
        assert make_any_link(text, real_clock()).name == name

    asyncio.run(main())


def test_where_frames_are_needed_a_link_of_messages_is_refused() -> None:
    """DoIP where only frames serve: said in the address's own words."""

    async def main() -> None:
        with pytest.raises(InputError, match="carries messages"):
            make_link("doip:car", real_clock())

    asyncio.run(main())
