"""The bit rate is heard, in listen-only mode, or not known; and what ways to a car are found."""

from __future__ import annotations

import asyncio
import logging
from pathlib import Path
from typing import Any

import can
import pytest

from asleft.job.clock import real_clock
from asleft.link.address import CanAddress, make_any_link
from asleft.link.bitrate import heard_bitrate, listen_at
from asleft.link.found import KINDS, found_links
from asleft.model.errors import Code, InputError

ADDRESS = CanAddress("slcan", "/dev/ttyACM0")


class Plug:
    """Stands for a driver at a live bus: frames at the right rate, errors at a wrong one; it must never be sent to."""

    def __init__(self, rate: int, opened: list[dict[str, Any]], settings: dict[str, Any]) -> None:
        opened.append(settings)
        self._right = settings["bitrate"] == rate

    def recv(self, timeout: float | None = None) -> can.Message:
        if self._right:
            return can.Message(arbitration_id=0x120, data=b"\x01", is_extended_id=False)
        return can.Message(is_error_frame=True)

    def send(self, message: can.Message, timeout: float | None = None) -> None:
        raise AssertionError("nothing may be sent while listening")

    def shutdown(self) -> None:
        return


@pytest.mark.parametrize(("rate", "found"), [(500_000, 500_000), (250_000, 250_000), (125_000, None)])
def test_the_rate_at_which_frames_come_without_errors(
    monkeypatch: pytest.MonkeyPatch, rate: int, found: int | None
) -> None:
    """Found by listening only; another rate than the legislated ones is not guessed."""
    opened: list[dict[str, Any]] = []
    monkeypatch.setattr(can, "Bus", lambda **settings: Plug(rate, opened, settings))
    assert asyncio.run(_heard()) == found
    assert all(settings["listen_only"] is True for settings in opened)


async def _heard() -> int | None:
    return await heard_bitrate(ADDRESS, real_clock(), listen_s=0.3)


def test_a_silent_plug_is_not_known() -> None:
    """Nothing heard at all: none of the rates fits."""

    async def main() -> None:
        address = CanAddress("virtual", "asleft-silent-plug")
        heard = await listen_at(address, real_clock(), 500_000, 0.1)
        assert (heard.frames, heard.errors, heard.fits) == (0, 0, False)

    asyncio.run(main())


def test_an_interface_that_acknowledges_whatever_is_set_is_not_used_for_it() -> None:
    """It would disturb the bus at a wrong rate: refused, with what to do instead."""

    async def main() -> None:
        with pytest.raises(InputError) as caught:
            await heard_bitrate(CanAddress("socketcan", "can0"), real_clock())
        assert caught.value.code is Code.LINK_ADDRESS_BAD
        assert "confirm the rate from the source" in caught.value.sentence()

    asyncio.run(main())


def test_what_is_found_can_be_opened_by_its_address(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Detected interfaces and serial ports, without a bit rate; in-process buses are no way to a car."""
    detected = [{"interface": "socketcan", "channel": "can0"}, {"interface": "virtual", "channel": "x"}]
    monkeypatch.setattr(can, "detect_available_configs", lambda: detected)
    (tmp_path / "ttyUSB0").touch()
    found = found_links(tmp_path)
    assert [f.address for f in found] == ["can:socketcan:can0", f"kline:{tmp_path}/ttyUSB0"]
    assert all("bitrate" not in f.address and f.note for f in found)

    async def main() -> None:
        for entry in found:
            make_any_link(entry.address, real_clock())

    asyncio.run(main())


def test_looking_leaves_the_logging_as_it_was(tmp_path: Path) -> None:
    """Back ends without their driver are noisy; they are silenced for the moment only."""
    found_links(tmp_path)
    assert logging.root.manager.disable == 0
    assert set(KINDS) == {"can:", "kline:", "doip:", "log:"}
