"""A copy to give away: the VIN's last eight signs, in text and in bytes. Facts that name a person are left out earlier.

Pure. The record itself is never changed and never goes with such a copy.
"""

from __future__ import annotations

from typing import cast

import msgspec

from .parts import View
from .text import everywhere
from .traced import Traced


def redacted(seen: View, record: Traced) -> View:
    """The view with every VIN on the record cut to its last eight signs."""
    vins = _vins(record)

    def cut(text: str) -> str:
        for vin in vins:
            text = text.replace(vin, f"…{vin[-8:]}").replace(vin.encode().hex().upper(), "…")
        return text

    plain = cast("dict[str, object]", msgspec.to_builtins(seen))
    return msgspec.convert(everywhere(plain, cut), View)


def _vins(record: Traced) -> list[str]:
    read = {m.value("vin") for p in record.state.pictures.values() for m in p.modules}
    typed = {record.state.vehicle.vin.text} if record.state.vehicle else set[str]()
    return sorted(v for v in read | typed if len(v) > 8)
