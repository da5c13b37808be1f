"""A value over cars or over years: its own centre and control limits, what lies outside them marked by shape."""

from __future__ import annotations

from collections.abc import Sequence

import msgspec

from asleft.model.numbers import short, with_unit

from .axis import Scale, scale, ticks
from .look import Look, Size
from .svg import Drawing


class ControlLimits(msgspec.Struct, frozen=True):
    """Centre and control limits, in the value's unit, and the upper limit of the step from one value to the next."""

    centre: float
    low: float
    high: float
    step_high: float


def control_chart(
    values: Sequence[float],
    unit: str,
    *,
    title: str,
    first: str = "",
    last: str = "",
    limits: ControlLimits | None = None,
    outside: Sequence[int] = (),
    size: Size | None = None,
    height: int = 200,
    look: Look = Look.PAGE,
) -> str:
    """A control chart of single values as SVG text.

    Args:
        values: finite, in the order of time, in ``unit``.
        first, last: when the first and the last were taken, in words.
        limits: None: too few values for any. outside: places in ``values`` that are marked.
        height: of the field, px.
    """
    size = size or Size()
    drawing = Drawing(size, look)
    base = size.letters * 1.9
    drawing.text(24.0, base, title, bold=True)
    left, right, top = 24.0 + size.letters * 4.2, size.width - 24.0, base + size.letters * 1.2
    bottom = top + height
    edges = [limits.low, limits.high, limits.centre] if limits else []
    y = scale([*values, *edges], bottom, top)
    x = Scale(-0.5, max(len(values) - 0.5, 0.5), left, right)
    if limits:
        _limits(drawing, y, limits, left, right)
    for tick in ticks(y.low, y.high, 4):
        drawing.text(left - 8.0, y.at(tick) + size.letters * 0.35, short(tick), "soft", anchor="end", scale=0.9)
        drawing.line(left - 4.0, y.at(tick), left, y.at(tick), "axis")
    drawing.line(left, top, left, bottom, "axis", thick=2.0)
    drawing.line(left, bottom, right, bottom, "axis", thick=2.0)
    _values(drawing, values, x, y, frozenset(outside))
    end = bottom + size.line * 1.1
    drawing.text(left, end, first, "soft", scale=0.9)
    drawing.text(right, end, last if len(values) > 1 else "", "soft", anchor="end", scale=0.9)
    end += size.line
    drawing.text(left, end, _said(limits, unit), "soft", scale=0.9)
    return drawing.finish(end + size.line * 0.6, title, _described(values, unit, limits, outside))


def _limits(drawing: Drawing, y: Scale, limits: ControlLimits, left: float, right: float) -> None:
    drawing.rect(left, y.at(limits.high), right - left, y.at(limits.low) - y.at(limits.high), "shade")
    for limit in (limits.low, limits.high):
        drawing.line(left, y.at(limit), right, y.at(limit), "edge", thick=2.0, dash="8 5")
    drawing.line(left, y.at(limits.centre), right, y.at(limits.centre), "edge", thick=2.0)


def _values(drawing: Drawing, values: Sequence[float], x: Scale, y: Scale, outside: frozenset[int]) -> None:
    points = [(x.at(float(n)), y.at(value)) for n, value in enumerate(values)]
    drawing.path(points, "trace")
    if len(points) <= 400:
        for n, (at, up) in enumerate(points):
            if n not in outside:
                drawing.circle(at, up, 4.0, "trace")
    for at, up in (points[n] for n in sorted(outside)):
        drawing.area([(at, up - 9.0), (at + 8.0, up), (at, up + 9.0), (at - 8.0, up)], "fail")


def _said(limits: ControlLimits | None, unit: str) -> str:
    if limits is None:
        return "too few values for control limits"
    # four digits: control limits are no sharper than the values they come from
    centre, low, high = (with_unit(short(float(f"{v:.4g}")), unit) for v in (limits.centre, limits.low, limits.high))
    return f"centre {centre}, control limits {low} to {high}"


def _described(values: Sequence[float], unit: str, limits: ControlLimits | None, outside: Sequence[int]) -> str:
    return f"{len(values)} values; {_said(limits, unit)}; outside: {len(outside)}."
