"""Signals from a network description agree with cantools, frame by frame; what is beyond the closed set is told."""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import Any

import cantools
import pytest
from hypothesis import given
from hypothesis import strategies as st

from asleft.bench.cars import petrol
from asleft.book.dbc import DbcSignal, read_dbc
from asleft.book.scaled import decode
from asleft.model.errors import Code, InputError

CAR = Path(petrol.__file__).with_name("petrol.dbc")
TEXT = """VERSION ""
BS_:
BU_: A
BO_ 2147484672 Wide: 8 A
 SG_ Big : 7|16@0- (0.5,-10) [-100|100] "degC" A
 SG_ Little : 16|16@1+ (0.1,0) [0|100] "km/h" A
 SG_ Bits : 33|3@1+ (1,0) [0|7] "" A
 SG_ BitsBig : 46|3@0+ (1,0) [0|7] "" A
 SG_ Across : 52|12@1+ (1,0) [0|4095] "" A
BO_ 2 Odd: 8 A
 SG_ Furlongs : 0|8@1+ (1,0) [0|255] "furlong" A
 SG_ Single : 32|32@1- (1,0) [0|0] "V" A
BO_ 3 Many: 8 A
 SG_ Which M : 0|8@1+ (1,0) [0|1] "" A
 SG_ One m0 : 8|8@1+ (1,0) [0|1] "" A
VAL_ 2147484672 Bits 0 "off" 1 "on" 2 "fault" 3 "a" 4 "b" 5 "c" 6 "d" 7 "e" ;
SIG_VALTYPE_ 2 Single : 1;
"""


def test_the_cars_own_description() -> None:
    found = read_dbc(CAR)
    assert not found.refused
    assert {(s.message, s.name) for s in found.taken} == {
        (m.name, s.name) for m in cantools.database.load_file(str(CAR)).messages for s in m.signals
    }
    speed = next(s for s in found.taken if s.id == "engine-data-engine-speed")
    assert (speed.frame, speed.scaling.unit, speed.high) == (0x120, "rpm", 16383.75)


@pytest.fixture(scope="module")
def written(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("dbc") / "x.dbc"
    path.write_text(TEXT, encoding="utf-8")
    return path


def test_what_is_beyond_the_closed_set_is_told(written: Path) -> None:
    found = read_dbc(written)
    assert found.refused == {
        "Wide.Across": "12 bit(s) over more than one byte, or signed bits",
        "Odd.Furlongs": "unit 'furlong'",
        "Odd.Single": "a floating-point number on the bus",
        "Many.Which": "its frame is multiplexed",
        "Many.One": "its frame is multiplexed",
    }
    assert [s.id for s in found.taken] == ["wide-big", "wide-little", "wide-bits", "wide-bits-big"]
    assert found.taken[0].extended
    assert found.taken[2].text.endswith("off, on, fault, a, b, c, d, e")


@given(data=st.binary(min_size=8, max_size=8))
def test_every_frame_decodes_as_cantools_decodes_it(written: Path, data: bytes) -> None:
    for path in (CAR, written):
        database, signals = read_both(path)
        for signal in signals:
            theirs = database.get_message_by_name(signal.message).decode(data, decode_choices=True)[signal.name]
            ours = decode(signal.scaling, data)
            if isinstance(ours, str):
                assert ours == str(theirs)
            else:
                assert ours == pytest.approx(float(theirs), rel=1e-12, abs=1e-12)


@cache
def read_both(path: Path) -> tuple[Any, tuple[DbcSignal, ...]]:
    return cantools.database.load_file(str(path)), read_dbc(path).taken


@pytest.mark.parametrize("data", [b"BO_ nonsense", b"\xff\xfe"])
def test_what_is_no_description_is_told(tmp_path: Path, data: bytes) -> None:
    (tmp_path / "x.dbc").write_bytes(data)
    with pytest.raises(InputError) as caught:
        read_dbc(tmp_path / "x.dbc")
    assert caught.value.code is Code.IMPORT_IMPOSSIBLE
    with pytest.raises(InputError):
        read_dbc(tmp_path / "absent.dbc")
