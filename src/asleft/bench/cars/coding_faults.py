"""Faults of coding, for any of our bench cars: what somebody wrote into a module that does not belong there."""

from __future__ import annotations

from collections.abc import Callable

from .identity import make_vin
from .petrol_side import checksum
from .workshop_car import WorkshopCar

Put = Callable[[WorkshopCar, float], None]
Mend = Callable[[WorkshopCar], None]

#: How a body (coding without its checksum) is changed; called with the body and the fault's size.
Change = Callable[[bytes, int], bytes]


def rewritten(
    module: str, did: int, change: Change, *, sum_up: bool = True, check: Callable[[bytes], bytes] = checksum
) -> tuple[Put, Mend]:
    """Coding changed behind the module's back; mended, it is what it was.

    Args: sum_up: its checksum was made to fit. check: the checksum, one byte at the end.
    """
    key = f"coding {module} {did:04X}"

    def put(car: WorkshopCar, size: float) -> None:
        def spoil(whole: bytes) -> bytes:
            car.running_faults.setdefault(key, whole)
            body = change(whole[:-1], int(size))
            return body + (check(body) if sum_up else whole[-1:])

        car.rewrite(module, did, spoil)

    def mend(car: WorkshopCar) -> None:
        if key in car.running_faults:
            before: bytes = car.running_faults.pop(key)
            car.rewrite(module, did, lambda _whole: before)

    return put, mend


def swapped(body: bytes, first: int) -> bytes:
    """Two neighbouring bytes in the wrong order, from ``first`` on; where they are equal, a bit is wrong instead."""
    changed = bytearray(body)
    changed[first : first + 2] = changed[first : first + 2][::-1]
    return bytes(changed) if bytes(changed) != body else bytes([body[0] ^ 0x80]) + body[1:]


def emptied(body: bytes, _size: int) -> bytes:
    """All zero, as in a new module."""
    return bytes(len(body))


def other_market(body: bytes, size: int) -> bytes:
    """The first byte of another market."""
    return bytes([(body[0] + size) & 0xFF]) + body[1:]


def unknown_bits_gone(body: bytes, _size: int) -> bytes:
    """The upper half of each byte set to zero by a program that does not know it."""
    return bytes(byte & 0x0F for byte in body)


def decimal_for_hex(body: bytes, _size: int) -> bytes:
    """The last byte's decimal digits typed where hexadecimal ones were meant: 40 hexadecimal becomes 64."""
    return body[:-1] + bytes([int(f"{body[-1] % 100:02d}", 16)])


def foreign_vin(module: str) -> tuple[Put, Mend]:
    """A used module that still has its old car's VIN."""

    def put(car: WorkshopCar, size: float) -> None:
        car.running_faults.setdefault("vin", bytes(car.module(module).peek(0xF190)))
        car.rewrite(module, 0xF190, lambda _old: make_vin("L16DT", "J", int(size)).encode())

    def mend(car: WorkshopCar) -> None:
        if "vin" in car.running_faults:
            before: bytes = car.running_faults.pop("vin")
            car.rewrite(module, 0xF190, lambda _old: before)

    return put, mend
