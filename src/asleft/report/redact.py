"""What a paper leaves out: a VIN in a copy to give away, and personal texts that the record itself withholds. Pure.

The record is never changed and never goes with a redacted copy. Facts that name a person are left out earlier.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import cast

import msgspec

from .parts import View
from .text import everywhere
from .traced import Traced
from .words import Words

#: How a personal text stands in an event whose text was erased or is not at hand.
_COMMITTED = re.compile(r"personal:([0-9a-f]{8})[0-9a-f]{56}")


def redacted(seen: View, record: Traced) -> View:
    """The view with every VIN on the record cut to its last eight signs."""
    vins = _vins(record)

    def cut(text: str) -> str:
        for vin in vins:
            text = text.replace(vin, f"…{vin[-8:]}").replace(vin.encode().hex().upper(), "…")
        return text

    return _changed(seen, cut)


def withheld(seen: View, w: Words) -> View:
    """The view with every commitment said in words and the first eight signs it is found by."""
    return _changed(seen, lambda text: _COMMITTED.sub(lambda m: w("withheld", commitment=m[1]), text))


def _changed(seen: View, change: Callable[[str], str]) -> View:
    plain = cast("dict[str, object]", msgspec.to_builtins(seen))
    return msgspec.convert(everywhere(plain, change), View)


def _vins(record: Traced) -> list[str]:
    read = {m.value("vin") for p in record.state.pictures.values() for m in p.modules}
    typed = {record.state.vehicle.vin.text} if record.state.vehicle else set[str]()
    return sorted(v for v in read | typed if len(v) > 8 and not _COMMITTED.fullmatch(v))
