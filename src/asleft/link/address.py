"""Addresses of links, as people write them, and the links they mean.

The form is ``scheme:...``. For CAN::

    can:INTERFACE:CHANNEL?bitrate=500000&fd=1&listen=1&option.NAME=VALUE

``INTERFACE`` is a back end of python-can; ``option.NAME`` is a setting of that back end by its own name. An unknown
key is an error that names the known ones: a misspelt bit rate must not become a guessed one. For the others::

    doip:HOST:PORT?tester=0E00&group=E400&kind=0
    kline:DEVICE?baud=10400&measured=WHERE_IT_IS_WRITTEN_DOWN
    log:FILE
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any
from urllib.parse import parse_qsl

import msgspec

from asleft.model.errors import Code, InputError
from asleft.ports.bus import Link
from asleft.ports.clock import Clock
from asleft.ports.messages import MessageLink

from .bus_link import BusLink
from .doip import EVERYBODY, PORT, TESTER, DoipLink
from .frame_log import FrameLogLink
from .kline import BAUD, KLineLink
from .python_can import PythonCanBus
from .serial_line import SerialLine

_FORM = "write can:INTERFACE:CHANNEL?bitrate=500000"
_OPTION = "option."
_KEYS = ("bitrate", "fd", "listen")

#: How each back end is told to keep silent on the bus (acknowledge nothing); others cannot be told from here.
_SILENT: dict[str, dict[str, Any]] = {
    "slcan": {"listen_only": True},
    "kvaser": {"driver_mode": False},
    "cantact": {"monitor": True},
    "seeedstudio": {"operation_mode": "silent"},
    "virtual": {},
    "udp_multicast": {},
}


class CanAddress(msgspec.Struct, frozen=True):
    """A python-can interface.

    Attributes:
        interface: back end.
        channel: what the back end calls it.
        bitrate: bit/s; None: the interface's own.
        fd: CAN FD.
        listen: never send.
        options: settings of the back end, as typed.
    """

    interface: str
    channel: str
    bitrate: int | None = None
    fd: bool = False
    listen: bool = False
    options: dict[str, str] = {}

    @property
    def text(self) -> str:
        """The address again, in the one form that is written to records."""
        query = [f"bitrate={self.bitrate}"] if self.bitrate is not None else []
        query += [key for key, on in (("fd=1", self.fd), ("listen=1", self.listen)) if on]
        query += [f"{_OPTION}{name}={value}" for name, value in sorted(self.options.items())]
        return f"can:{self.interface}:{self.channel}" + ("?" + "&".join(query) if query else "")


def parse_can(text: str) -> CanAddress:
    """Read a CAN address.

    Raises: InputError (link-address-bad): what is wrong and what to write instead.
    """
    scheme, _, rest = text.strip().partition(":")
    interface, colon, channel_and_query = rest.partition(":")
    channel, _, query = channel_and_query.partition("?")
    if scheme != "can" or not interface or not colon or not channel:
        raise _bad(text, _FORM)
    plain, options = _split_query(text, query)
    bitrate = _bitrate(text, plain["bitrate"]) if "bitrate" in plain else None
    return CanAddress(interface, channel, bitrate, _switch(text, plain, "fd"), _switch(text, plain, "listen"), options)


def make_link(text: str, clock: Clock) -> Link:
    """The link of frames, not yet open, that an address means: ``can:`` or ``log:``.

    Raises: InputError (link-address-bad).
    """
    link = make_any_link(text, clock)
    if isinstance(link, MessageLink):
        raise _bad(text, "this link carries messages, not frames; here only can: and log: serve")
    return link


def make_any_link(text: str, clock: Clock) -> Link | MessageLink:
    """The link, not yet open, that an address of any scheme means.

    Raises: InputError (link-address-bad).
    """
    scheme = text.strip().partition(":")[0]
    maker = SCHEMES.get(scheme)
    if maker is None:
        raise _bad(text, f"begin with one of: {', '.join(f'{name}:' for name in sorted(SCHEMES))}; {_FORM}")
    return maker(text, clock)


def may_listen(interface: str) -> bool:
    """Whether this back end can be told from here to acknowledge nothing."""
    return interface in _SILENT


def can_bus(address: CanAddress, clock: Clock) -> PythonCanBus:
    """The bus, not yet open, of a CAN address. Raises: InputError (link-address-bad)."""
    import can  # noqa: PLC0415
    from can.util import cast_from_string  # noqa: PLC0415

    known = sorted(can.VALID_INTERFACES)
    if address.interface not in known:
        what = f"python-can has no back end {address.interface!r}; it has {', '.join(known)}"
        raise _bad(address.text, what)
    options: dict[str, Any] = {name: cast_from_string(value) for name, value in address.options.items()}
    if address.listen:
        if not may_listen(address.interface):
            what = f"{address.interface} cannot be told to only listen from here; set it up to outside"
            raise _bad(address.text, what)
        options = _SILENT[address.interface] | options
    return PythonCanBus(
        address.interface,
        address.channel,
        address.bitrate,
        clock,
        fd=address.fd,
        listen_only=address.listen,
        options=options,
    )


def _make_can(text: str, clock: Clock) -> Link:
    address = parse_can(text)
    return BusLink(can_bus(address, clock), clock, name=address.text)


def _make_doip(text: str, clock: Clock) -> MessageLink:
    host_and_port, plain = _plain_query(text, ("tester", "group", "kind"), "doip:HOST:PORT?tester=0E00")
    host, _, port = host_and_port.partition(":")
    if not host or (port and not port.isdigit()):
        raise _bad(text, "write doip:HOST or doip:HOST:PORT")
    return DoipLink(
        host,
        clock,
        int(port) if port else PORT,
        tester=_hex(text, plain, "tester", TESTER),
        kind=_hex(text, plain, "kind", 0),
        group=_hex(text, plain, "group", EVERYBODY),
    )


def _make_kline(text: str, clock: Clock) -> MessageLink:
    path, plain = _plain_query(text, ("baud", "measured"), "kline:/dev/ttyUSB0")
    baud = plain.get("baud", str(BAUD))
    if not path or not baud.isdigit():
        raise _bad(text, "write kline:DEVICE, with ?baud=10400 where another rate is meant")
    line = SerialLine(path, clock, int(baud))
    return KLineLink(line, clock, name=f"kline:{path}", start_measured=plain.get("measured", ""))


def _make_log(text: str, clock: Clock) -> Link:
    path = text.strip().partition(":")[2]
    if not path:
        raise _bad(text, "write log:FILE")
    return FrameLogLink(Path(path), clock)


#: Kind of address to what makes its link.
SCHEMES: dict[str, Callable[[str, Clock], Link | MessageLink]] = {
    "can": _make_can,
    "doip": _make_doip,
    "kline": _make_kline,
    "log": _make_log,
}


def _plain_query(text: str, keys: tuple[str, ...], form: str) -> tuple[str, dict[str, str]]:
    rest, _, query = text.strip().partition(":")[2].partition("?")
    plain, options = _split_query(text, query, keys)
    if options:
        raise _bad(text, f"no options here; write {form}")
    return rest, plain


def _hex(text: str, plain: Mapping[str, str], key: str, usual: int) -> int:
    value = plain.get(key)
    if value is None:
        return usual
    try:
        number = int(value, 16)
    except ValueError:
        number = -1
    if not 0 <= number <= 0xFFFF:
        raise _bad(text, f"{key}={value}: write up to four hexadecimal digits")
    return number


def _split_query(text: str, query: str, keys: tuple[str, ...] = _KEYS) -> tuple[dict[str, str], dict[str, str]]:
    try:
        pairs = parse_qsl(query, keep_blank_values=True, strict_parsing=bool(query))
    except ValueError:
        raise _bad(text, f"after the question mark write key=value, joined by &; keys: {_key_list(keys)}") from None
    plain: dict[str, str] = {}
    options: dict[str, str] = {}
    for key, value in pairs:
        if key in plain or key in options:
            raise _bad(text, f"{key} stands twice")
        if key.startswith(_OPTION) and len(key) > len(_OPTION):
            options[key.removeprefix(_OPTION)] = value
        elif key in keys:
            plain[key] = value
        else:
            raise _bad(text, f"{key} is not known; keys: {_key_list(keys)}")
    return plain, options


def _bitrate(text: str, value: str) -> int:
    if not value.isascii() or not value.isdigit() or not 10_000 <= int(value) <= 1_000_000:
        raise _bad(text, f"bit rate {value!r}: write bit/s between 10000 and 1000000, such as 500000")
    return int(value)


def _switch(text: str, plain: Mapping[str, str], key: str) -> bool:
    value = plain.get(key, "0")
    if value not in ("0", "1"):
        raise _bad(text, f"{key}={value}: write {key}=1 or {key}=0")
    return value == "1"


def _key_list(keys: tuple[str, ...]) -> str:
    return ", ".join((*keys, "option.NAME") if keys is _KEYS else keys)


def _bad(text: str, what: str) -> InputError:
    return InputError(Code.LINK_ADDRESS_BAD, what, text)
