"""The petrol car's body module: what it holds agrees with its layout and neighbours, and what it refuses."""

from __future__ import annotations

import crccheck.crc
import pytest

from asleft.bench.cars.petrol import PetrolCar
from asleft.bench.cars.petrol_body import body_coding, broken, crc8
from asleft.bench.identifiers import Write
from asleft.bench.memory import Memory
from asleft.book.layouts import own_layout
from asleft.coding.decode import decode
from asleft.model.errors import InputError

LAYOUT = own_layout("body-aldra")


def test_the_check_is_the_published_one() -> None:
    """crccheck's catalogue, independent of ours and of anycrc."""
    for data in (b"123456789", b"", bytes(range(19))):
        assert crc8(data) == crccheck.crc.Crc8SaeJ1850.calc(data).to_bytes(1, "big")


@pytest.mark.parametrize("seed", range(30))
def test_every_car_of_the_model_is_coded_as_its_layout_says(seed: int) -> None:
    car = PetrolCar(seed=seed)
    data = car.module("body").peek(0x3B30)
    read = decode(LAYOUT, data)
    assert all(read.checks_hold)
    assert not read.broken
    assert not broken(data[:-1])
    assert all(o.value is not None for o in read.options)
    for option in LAYOUT.options:
        for one in option.neighbours:
            theirs = car.module(one.module).peek(int(one.identifier, 16))
            assert one.value(theirs) == read.value(option.id), option.id


def test_our_rules_and_the_modules_are_the_same() -> None:
    base = PetrolCar(seed=1).module("body").peek(0x3B30)
    for byte in (0, 2, 3, 4):
        for value in range(256):
            body = bytes((*base[:byte], value, *base[byte + 1 : -1]))
            assert broken(body) == bool(decode(LAYOUT, body + crc8(body)).broken)


def test_it_refuses_a_broken_rule_and_a_wrong_check() -> None:
    base = PetrolCar(seed=1).module("body").peek(0x3B30)[:-1]
    rule = body_coding(base, Write(), Memory())[0].write
    assert rule is not None
    assert rule.check(base + crc8(base)) is None
    assert rule.check(base + bytes((crc8(base)[0] ^ 1,))) == 0x31
    wrong = bytes((*base[:2], base[2] & 0xEF | 0x20, *base[3:]))
    assert rule.check(wrong + crc8(wrong)) == 0x31


def test_a_new_module_is_blank_with_another_serial_number_and_the_key_off() -> None:
    car = PetrolCar(seed=1)
    before = car.module("body").peek(0xF18C)
    car.act("key", position="on")
    with pytest.raises(InputError):
        car.act("replace_body")
    car = PetrolCar(seed=1)
    car.act("replace_body", part="BCM-1183-9")
    assert car.module("body").peek(0x3B30) == b"\xff" * 20
    assert car.module("body").peek(0xF18C) != before
    assert car.module("body").peek(0xF187) == b"BCM-1183-9"
