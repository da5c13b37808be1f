"""Acts by hand along time: what is drawn stands where the scale says, and what is outside says so in words."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET

from hypothesis import given
from hypothesis import strategies as st

from asleft.figure import ActSeen, ActWindow, Size, act_track

ACTS = (ActWindow("key on", 0.0, 0.0, 0.5), ActWindow("pedal", 6.0, 4.0, 8.0), ActWindow("pedal", 18.0, 17.5, 19.5))


def test_what_is_outside_its_window_says_so_in_words() -> None:
    inside = act_track(ACTS, [ActSeen("key on", 0.0, 0.05), ActSeen("pedal", 6.4, 0.05)]).svg
    assert "outside" not in inside
    assert "outside" in act_track(ACTS, [ActSeen("pedal", 9.0, 0.05)]).svg


def test_the_same_words_twice_go_to_the_next_such_act() -> None:
    both = act_track(ACTS, [ActSeen("pedal", 6.0, 0.05), ActSeen("pedal", 18.0, 0.05)]).svg
    assert "outside" not in both


def test_whoever_does_not_see_it_hears_times_and_windows() -> None:
    told = re.findall(r"<desc[^>]*>([^<]*)", act_track(ACTS, [ActSeen("key on", 0.1, 0.05)]).svg)[0]
    assert "key on: at 0 s, counts from 0 to 0.5 s, seen at 0.1 s" in told
    assert "pedal: at 18 s, counts from 17.5 to 19.5 s" in told


@given(
    st.lists(
        st.tuples(st.text(max_size=30), st.floats(0, 600), st.floats(0, 20), st.floats(0, 20)), min_size=0, max_size=12
    ),
    st.floats(0, 10),
    st.sampled_from([400, 720]),
)
def test_it_is_well_formed_and_nothing_stands_beyond_its_edge(
    given_acts: list[tuple[str, float, float, float]], lead: float, width: int
) -> None:
    acts = [
        ActWindow("".join(c for c in t if c.isprintable()), a, max(0.0, a - e), a + e + c) for t, a, e, c in given_acts
    ]
    drawn = act_track(acts, [ActSeen(a.text, a.closes_s + 1.0, 0.1) for a in acts], lead_s=lead, size=Size(width=width))
    root = ET.fromstring(drawn.svg)
    assert drawn.begin_s == -lead
    assert all(drawn.end_s >= a.closes_s for a in acts)
    for rect in root.iter("{http://www.w3.org/2000/svg}rect"):
        assert float(rect.get("x", "0")) >= -0.01
        assert float(rect.get("x", "0")) + float(rect.get("width", "0")) <= width + 5
