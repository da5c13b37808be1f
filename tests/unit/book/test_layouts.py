"""Layout files: read with positions, every fault with file, line, field, why and what to write instead."""

from __future__ import annotations

import pytest

from asleft.book.files import ProcedureError
from asleft.book.layouts import read_layout

TEXT = """id: demo
name: Demo
revision: 1
module: body
source: Invented page
numbers: [{part-number: BCM-1, software-number: BCMSW1}]
identifier: 3B30
printed: hex
length: 2
blank: 0
options:
  - {id: rain, name: Rain sensor, kind: flag, at: 0, bits: 1}
  - {id: wiper, name: Automatic wipers, kind: flag, at: 0, bit: 1, bits: 1}
checks:
  - {kind: crc, first: 0, last: 0, at: 1, width: 8, poly: 29, init: 255, xorout: 255, check: 75}
rules:
  - {id: r1, text: wipers need it, when: [{option: wiper, values: [1]}], needs: [{option: rain, values: [1]}]}
"""


def test_a_layout_file_is_read() -> None:
    layout = read_layout(TEXT.encode(), "demo.yaml")
    assert layout.is_for("BCM-1", "BCMSW1")
    assert not layout.is_for("BCM-1", "BCMSW2")
    assert [o.id for o in layout.options] == ["rain", "wiper"]


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("at: 0, bit: 1", "at: 0, bit: 0", r"demo.yaml:13: .*options\[2\].*belongs to rain"),
        ("check: 75", "check: 76", "demo.yaml:15: .*123456789.*instead: "),
        ("kind: flag, at: 0, bits", "kind: flags, at: 0, bits", "demo.yaml:12: "),
        ("identifier: 3B30", "identifier: 3B3O", "demo.yaml:7: .*the letter O is no hexadecimal digit"),
        ("option: rain", "option: rian", "demo.yaml:17: .*rian is no option"),
        ("length: 2", "length: 1", "demo.yaml:15: .*beyond the coding"),
    ],
)
def test_each_fault_has_its_place(old: str, new: str, said: str) -> None:
    with pytest.raises(ProcedureError, match=said):
        read_layout(TEXT.replace(old, new, 1).encode(), "demo.yaml")
