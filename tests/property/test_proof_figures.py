"""Every judgement and every series can be drawn, and no place leaves the figure."""

from __future__ import annotations

import math
import re
from xml.etree import ElementTree

from hypothesis import given
from hypothesis import strategies as st

from asleft.figure import Band, Look, number_line, strip
from asleft.model.message import say
from asleft.model.reading import Series
from asleft.model.verdict import LimitOwner, Limits, Reason
from asleft.proof.decide import decide
from asleft.proof.estimate import Estimate, NoEstimate

numbers = st.one_of(st.floats(-1e6, 1e6), st.sampled_from([0.0, 1e-9, 1e12, -1e12]))


def places_inside(svg: str) -> None:
    root = ElementTree.fromstring(svg)
    _, _, width, height = map(float, str(root.get("viewBox")).split())
    assert not re.search(r'="[^"]*(nan|inf)', svg)
    for element in root.iter():
        for name, end in (("x", width), ("x1", width), ("x2", width), ("cx", width), ("y1", height), ("cy", height)):
            if (value := element.get(name)) is not None:
                assert -12.0 <= float(value) <= end + 12.0, (element.tag, name, value)


@given(
    numbers,
    st.floats(0, 1e6),
    st.none() | numbers,
    st.none() | numbers,
    st.sampled_from(LimitOwner),
    st.sampled_from(Look),
)
def test_number_lines(
    value: float, u: float, low: float | None, high: float | None, owner: LimitOwner, look: Look
) -> None:
    if low is not None and high is not None:
        low, high = sorted((low, high))
    held = Limits(low, high, "rpm", owner)
    places_inside(number_line(decide("c", "Name", Estimate(value, u, "rpm", 9, 9.0, (0, 1)), held), look=look))
    none = NoEstimate((Reason.WINDOW,), say("x", "nothing was seen"))
    places_inside(number_line(decide("c", "Name", none, held), look=look))


readings = st.lists(st.tuples(st.floats(-1e3, 1e6), st.one_of(st.floats(-1e9, 1e9), st.just(math.nan))), max_size=60)


@given(readings, st.none() | numbers, st.none() | numbers)
def test_strips(points: list[tuple[float, float]], low: float | None, high: float | None) -> None:
    if low is not None and high is not None:
        low, high = sorted((low, high))
    points = sorted(points, key=lambda p: p[0])
    series = Series("s", "V", tuple(t for t, _ in points), tuple(v for _, v in points), 0.1)
    places_inside(strip(series, band=Band(low, high)))
