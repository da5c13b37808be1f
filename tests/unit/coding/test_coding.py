"""Layouts against tables written by hand, a bit-string reference, brute force and another CRC library."""

from __future__ import annotations

import itertools
from typing import Any

import crccheck.crc
import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st

from asleft.coding import checksum
from asleft.coding.check_layout import faults_of
from asleft.coding.compare import compare
from asleft.coding.component_code import CodeForm, by_cylinder, check_letter, differs, must_fit
from asleft.coding.compose import base_for, compose, transfer
from asleft.coding.decode import decode, unknown_mask
from asleft.coding.grouped import Group, GroupKind, Row, Scheme, check_digits, meanings, must_be_unambiguous
from asleft.coding.layout import Check, CheckKind, Layout
from asleft.coding.values import parse_value
from asleft.coding.witness import Witness, WitnessKind, propose
from asleft.model.errors import InputError

#: Published check values over 123456789. Source: CRC RevEng catalogue, entries of these names (values recalled); the
#: library crccheck holds them independently.
J1850 = {"kind": "crc", "width": 8, "poly": 0x1D, "init": 0xFF, "xorout": 0xFF, "check": 0x4B}
PLAIN: dict[str, Any] = {
    "id": "demo",
    "name": "Demo",
    "revision": 1,
    "module": "body",
    "source": "invented",
    "numbers": [{"part_number": "P", "software_number": "S"}],
    "identifier": "3B30",
    "length": 10,
    "blank": 0,
    "options": [
        {"id": "rain", "name": "Rain sensor", "kind": "flag", "at": 0, "bit": 0, "bits": 1, "test": "wet the glass"},
        {"id": "auto", "name": "Automatic wipers", "kind": "flag", "at": 0, "bit": 1, "bits": 1},
        {
            "id": "lamp",
            "name": "Lamps",
            "kind": "choice",
            "at": 0,
            "bit": 4,
            "bits": 2,
            "choices": [
                {"value": 0, "text": "halogen"},
                {"value": 2, "text": "discharge"},
                {"value": 3, "text": "LED"},
            ],
        },
        {
            "id": "delay",
            "name": "Delay",
            "kind": "number",
            "at": 1,
            "length": 2,
            "high": 600,
            "factor": 0.1,
            "unit": "s",
        },
        {
            "id": "pump",
            "name": "Pump",
            "kind": "number",
            "at": 3,
            "length": 2,
            "big_endian": False,
            "bit": 3,
            "bits": 9,
        },
        {"id": "grade", "name": "Grade", "kind": "digits", "at": 5, "length": 2},
        {"id": "trim", "name": "Trim", "kind": "text", "at": 7, "length": 2},
    ],
    "checks": [{**J1850, "first": 0, "last": 8, "at": 9}],
    "rules": [
        {
            "id": "r1",
            "text": "automatic wipers need the sensor",
            "when": [{"option": "auto", "values": [1]}],
            "needs": [{"option": "rain", "values": [1]}],
        },
        {
            "id": "r2",
            "text": "a delay needs discharge or LED",
            "when": [{"option": "delay", "values": [50, 60]}],
            "needs": [{"option": "lamp", "values": [2, 3]}],
        },
    ],
}
LAYOUT = msgspec.convert(PLAIN, Layout)
GOOD = {"rain": 1, "auto": 1, "lamp": 2, "delay": 50, "pump": 300, "grade": "0042", "trim": "AZ"}
raw10 = st.binary(min_size=10, max_size=10)
wanted = st.fixed_dictionaries(
    {
        "rain": st.integers(0, 1),
        "auto": st.integers(0, 1),
        "lamp": st.sampled_from((0, 2, 3)),
        "delay": st.integers(0, 600),
        "pump": st.integers(0, 511),
        "grade": st.from_regex(r"[0-9]{4}", fullmatch=True),
        "trim": st.from_regex(r"[0-9A-Z]{2}", fullmatch=True),
    }
)


def allowed(w: dict[str, Any]) -> bool:
    """The two rules, written a second time."""
    return not (w["auto"] and not w["rain"]) and not (w["delay"] in (50, 60) and w["lamp"] == 0)


def test_bytes_written_by_hand() -> None:
    """Worked on paper: 23 = lamp 2, auto, rain; 0032; 300 << 3 = 2400 = 0960, low byte first; digits; A Z."""
    data = compose(LAYOUT, bytes(10), GOOD)
    assert data[:9].hex() == "23003260090042415a"
    words = {o.option: o.words for o in decode(LAYOUT, data).options}
    assert words == {
        "rain": "yes", "auto": "yes", "lamp": "discharge", "delay": "5 s", "pump": "300", "grade": "0042", "trim": "AZ"
    }  # fmt: skip
    assert decode(LAYOUT, data).checks_hold == (True,)
    assert unknown_mask(LAYOUT).hex() == "cc000007f00000000000"


@given(raw10, wanted)
def test_round_trip_unknown_bits_and_rules(base: bytes, w: dict[str, Any]) -> None:
    if not allowed(w):
        with pytest.raises(InputError, match="rule r"):
            compose(LAYOUT, base, w)
        return
    data = compose(LAYOUT, base, w)
    read = decode(LAYOUT, data)
    assert {o.option: o.value for o in read.options} == w
    assert read.unknown == decode(LAYOUT, base).unknown
    assert not read.broken
    assert data[9] == crccheck.crc.Crc8SaeJ1850.calc(data[:9])
    assert compose(LAYOUT, data, {}) == data
    assert not compare(LAYOUT, base, data).unknown


def test_rules_against_brute_force() -> None:
    for rain, auto, lamp, delay in itertools.product((0, 1), (0, 1), (0, 2, 3), (0, 49, 50, 60)):
        w = {**GOOD, "rain": rain, "auto": auto, "lamp": lamp, "delay": delay}
        try:
            compose(LAYOUT, bytes(10), w)
            taken = True
        except InputError:
            taken = False
        assert taken is allowed(w)


@pytest.mark.parametrize(
    ("name", "width", "poly", "init", "reflected", "xorout", "nine", "other"),
    [
        ("SAE-J1850", 8, 0x1D, 0xFF, False, 0xFF, 0x4B, crccheck.crc.Crc8SaeJ1850),
        ("IBM-3740", 16, 0x1021, 0xFFFF, False, 0, 0x29B1, crccheck.crc.Crc16Ibm3740),
        ("MODBUS", 16, 0x8005, 0xFFFF, True, 0, 0x4B37, crccheck.crc.Crc16Modbus),
        ("KERMIT", 16, 0x1021, 0, True, 0, 0x2189, crccheck.crc.Crc16Kermit),
        ("ISO-HDLC", 32, 0x04C11DB7, 0xFFFFFFFF, True, 0xFFFFFFFF, 0xCBF43926, crccheck.crc.Crc32IsoHdlc),
    ],
)
def test_crc_by_published_parameters(
    name: str, width: int, poly: int, init: int, reflected: bool, xorout: int, nine: int, other: Any
) -> None:
    check = Check(
        CheckKind.CRC, 0, 8, 9, width // 8, False, True, width, poly, init, reflected, reflected, xorout, nine
    )
    assert checksum.proved(check), name
    assert not checksum.proved(msgspec.structs.replace(check, poly=poly ^ 2))
    for data in (b"123456789", bytes(9), bytes(range(9))):
        assert int.from_bytes(checksum.compute(check, data), "big") == other.calc(data)


def test_what_a_layout_may_not_say() -> None:
    def faults(**changes: Any) -> str:
        return "; ".join(f"{f.path} {f.why}" for f in faults_of(msgspec.convert({**PLAIN, **changes}, Layout)))

    assert not faults()
    options, flag = PLAIN["options"], {"id": "x", "name": "X", "kind": "flag", "at": 0, "bit": 1, "bits": 1}
    assert "byte 0 bit 1 belongs to auto" in faults(options=[*options, flag])
    assert "bytes 12 to 12 of 10" in faults(options=[*options, {**flag, "at": 12}])
    assert "('checks', 0, 'check')" in faults(checks=[{**PLAIN["checks"][0], "check": 1}])
    assert "nothing is no option" in faults(
        rules=[{"id": "r", "text": "t", "needs": [{"option": "nothing", "values": [1]}]}]
    )
    assert "a flag has one bit" in faults(options=[{**flag, "bits": 2}], rules=[])


def test_blank_base_and_transfer() -> None:
    old = compose(LAYOUT, bytes.fromhex("cc000007f00000000000"), GOOD)
    assert decode(LAYOUT, bytes(10)).blank
    assert base_for(LAYOUT, bytes(10), old) == old
    assert base_for(LAYOUT, old, compose(LAYOUT, bytes(10), GOOD)) == old
    assert transfer(LAYOUT, old, ("P", "S")) == old
    for failed, numbers in ((old, ("P", "S2")), (bytes(10), ("P", "S")), (old[:-1] + b"\x00", ("P", "S"))):
        with pytest.raises(InputError):
            transfer(LAYOUT, failed, numbers)
    (rain,) = (c for c in compare(LAYOUT, bytes(10), old).changes if c.option == "rain")
    assert (rain.text, rain.test) == ("Rain sensor: not coded -> yes", "wet the glass")
    with pytest.raises(InputError, match="3 bytes"):
        decode(LAYOUT, b"abc")


def test_two_witnesses_or_a_question() -> None:
    def say(kind: WitnessKind, value: int) -> Witness:
        return Witness("rain", kind, value, kind.value)

    old, seen = say(WitnessKind.AS_RECEIVED, 1), say(WitnessKind.EQUIPMENT, 1)
    assert propose(LAYOUT, [old, seen])[0].agreed
    assert not propose(LAYOUT, [old])[0].agreed
    other = propose(LAYOUT, [old, say(WitnessKind.NEIGHBOUR, 0)])[0]
    assert other.value is None
    assert "contradict" in other.why
    assert propose(LAYOUT, [])[0].value is None


def test_typed_values() -> None:
    lamp, grade = LAYOUT.options[2], LAYOUT.options[5]
    assert parse_value(lamp, " led ") == 3
    assert parse_value(grade, "0042") == "0042"
    for option, text in ((lamp, "1"), (lamp, "xenon"), (grade, "42"), (grade, "00A2")):
        with pytest.raises(InputError):
            parse_value(option, text)


MARKET = Group("market", GroupKind.ROW, 1, (Row("K", "north, left-hand"), Row("O", "south, left-hand")))
TABLE = Group("equipment", GroupKind.ROW, 2, (Row("27", "row 27: estate, rain sensor"), Row("72", "row 72")))
KGROUPED = Scheme((MARKET, TABLE, Group("check", GroupKind.CHECK, 2, weights=(31, 7), modulus=29)))


def test_grouped_code_of_the_trade_notes() -> None:
    """K-27-08: 31 · 11 + 7 · 27 = 530; 530 mod 29 = 08, worked on paper."""
    assert meanings(KGROUPED, "K-27-08")[1] == "equipment: row 27: estate, rain sensor"
    for wrong in ("K-72-08", "O-27-08", "K-27-8", "K-27-09"):
        with pytest.raises(InputError):
            meanings(KGROUPED, wrong)
    right = {(m, r): check_digits(KGROUPED.groups[2], [m, r]) for m in "KLMNO" for r in ("27", "72", "26", "37")}
    assert right["K", "27"] != right["K", "72"]


@given(st.lists(st.integers(1, 40), min_size=1, max_size=6))
def test_sums_are_refused_exactly_when_two_sets_give_the_same(weights: list[int]) -> None:
    group = Group("g", GroupKind.SUM, 3, tuple(Row(str(w), f"option {n}") for n, w in enumerate(weights)))
    sets = [c for k in range(len(weights) + 1) for c in itertools.combinations(range(len(weights)), k)]
    unique = len({sum(weights[i] for i in c) for c in sets}) == len(sets)
    try:
        must_be_unambiguous(Scheme((group,)))
        taken = True
    except InputError:
        taken = False
    assert taken is unique


def test_part_codes() -> None:
    form = CodeForm(6, "0123456789ABCDEFGHJKLMNPRSTUVWXYZ", (1, 2, 3, 4, 5), 33)
    good = "A7B2C" + check_letter(form, "A7B2C")
    must_fit(form, good)
    for wrong, why in (("A7B2", "4 characters"), ("O7B2CX", "perhaps 0"), ("7AB2C" + good[5], "check")):
        with pytest.raises(InputError, match=why):
            must_fit(form, wrong)
    assert differs("A8C", "ABC") == "place 2: 8 and B (they look alike)"
    assert differs("A8C", "8AC") == "places 1 and 2 are swapped"
    assert differs("A", "A") == ""
    codes = {1: "A", 2: "B", 3: "C", 4: "D"}
    assert by_cylinder(codes, 4, (1, 3, 4, 2)) == ("A", "C", "D", "B")
    for bad in ({1: "A"}, {**codes, 4: "A"}):
        with pytest.raises(InputError):
            by_cylinder(bad, 4)
