"""The stream of a page: every event once, in order, from any place; live values only while they live."""

from __future__ import annotations

import asyncio
import json
from itertools import pairwise
from pathlib import Path
from typing import Any

from asleft.event import body as b
from asleft.job.client import JobClient
from asleft.record.journal import open_journal
from asleft.web.context import Viewer
from asleft.web.live import FRESH_S, LiveHub, LiveView
from asleft.web.pages import Pages
from asleft.web.sight import Engine, EngineSight
from asleft.web.stream import Follower, Sources
from kit.events import demo_job
from kit.gallery import add, bodies
from kit.record_kit import HandClock, Source


class Desk:
    """A journal that grows event by event, and pages that follow it."""

    def __init__(self, folder: Path) -> None:
        self.client = JobClient(folder)
        self.sight = EngineSight(self.client)
        self.hub = LiveHub(self.client)
        self.sources = Sources(Pages(self.client, self.sight, "t"), self.hub, self.sight)
        self.engine = Engine(False)
        self.sight.look = self._look  # type: ignore[method-assign]

    async def _look(self, *, fresh: bool = False) -> Engine:
        return self.engine

    def follower(self, after: int = 0) -> Follower:
        return Follower(self.sources, self.client.watch("J-1"), Viewer(), "J-1", after)


async def heard(follower: Follower) -> list[tuple[str, dict[str, Any], str]]:
    """Event, data and id of each message of one look."""
    return [(str(m.event), json.loads(m.data), str(m.id)) async for m in follower.news()]


def journal_of(messages: list[tuple[str, dict[str, Any], str]]) -> list[tuple[int, int, str]]:
    return [(data["first"], data["last"], id_) for event, data, id_ in messages if event == "journal"]


def test_every_event_comes_once_and_the_id_is_the_newest_sequence(tmp_path: Path) -> None:
    async def go() -> None:
        with open_journal(tmp_path) as journals:
            journal = journals.create("J-1", source=Source(), clock=HandClock())  # type: ignore[arg-type]
            desk = Desk(tmp_path)
            follower, ranges = desk.follower(), list[tuple[int, int, str]]()
            for i, body in enumerate(bodies(demo_job())[:-1]):
                add(journal, body)
                if i % 3 == 2:
                    ranges += journal_of(await heard(follower))
            ranges += journal_of(await heard(follower))
            last = len(journal.events())
            journal.give_back()
        assert ranges[0][0] == 1
        assert ranges[-1][1] == last
        assert all(before[1] + 1 == after[0] for before, after in pairwise(ranges))
        assert all(str(last) == id_ for _, last, id_ in ranges)
        assert journal_of(await heard(follower)) == []

    asyncio.run(go())


def test_a_page_that_slept_gets_what_it_missed_as_one_message(tmp_path: Path) -> None:
    async def go() -> None:
        from kit.gallery import store

        store(tmp_path, "J-1", bodies(demo_job())[:-1])
        desk = Desk(tmp_path)
        total = len(desk.client.watch("J-1").events)
        assert journal_of(await heard(desk.follower(5))) == [(6, total, str(total))]
        assert journal_of(await heard(desk.follower(total))) == []
        assert journal_of(await heard(desk.follower(total + 7))) == []

    asyncio.run(go())


def test_one_message_is_of_one_moment(tmp_path: Path) -> None:
    """Parts of one message agree: the stage said and the part that stands open are the same."""

    async def go() -> None:
        from kit.gallery import store

        store(tmp_path, "J-1", bodies(demo_job())[:-1])
        desk = Desk(tmp_path)
        data = next(d for event, d, _ in await heard(desk.follower(0)) if event == "journal")
        assert 'data-status="now"' in data["parts"][data["stage"]]
        others = [html for name, html in data["parts"].items() if name != data["stage"]]
        assert not any('data-status="now"' in html for html in others)

    asyncio.run(go())


def test_when_the_engine_comes_or_goes_what_is_next_is_said_anew(tmp_path: Path) -> None:
    async def go() -> None:
        from kit.gallery import store

        store(tmp_path, "J-1", bodies(demo_job())[:3])
        desk = Desk(tmp_path)
        follower = desk.follower(3)
        await heard(follower)
        desk.engine = Engine(True, "bench", job="J-1")
        (event, data, _), *_ = await heard(follower)
        assert event == "page"
        assert set(data["parts"]) == {"outcome", "record", "next"}
        assert "Stop ends what may be stopped" in data["parts"]["next"]
        assert [m for m in await heard(follower) if m[0] == "page"] == []

    asyncio.run(go())


# -- live --------------------------------------------------------------------------------


class Hand:
    """Seconds moved by hand."""

    now_s = 100.0

    def __call__(self) -> float:
        return self.now_s


def reading(value: float, time_s: float, signal: str = "engine-speed") -> dict[str, Any]:
    return {f"reading:{signal}": {"signal": signal, "value": value, "unit": "rpm", "time_s": time_s}}


def test_a_value_that_no_longer_changes_is_not_live() -> None:
    hand = Hand()
    view = LiveView(hand)
    view.update(reading(750.0, 1.0))
    assert [s.signal for s in view.series] == ["engine-speed"]
    for _ in range(5):
        hand.now_s += FRESH_S / 4
        view.update(reading(750.0, 1.0))
    assert view.series == ()


def test_a_strip_holds_the_last_seconds_in_order_and_each_reading_once() -> None:
    view = LiveView(Hand())
    for i in range(60):
        view.update(reading(700.0 + i, i * 0.5))
        view.update(reading(700.0 + i, i * 0.5))
    (series,) = view.series
    assert series.times_s[-1] - series.times_s[0] <= 20.0
    assert list(series.times_s) == sorted(set(series.times_s))
    assert series.values[-1] == 759.0


def test_a_clock_that_begins_anew_begins_a_new_strip() -> None:
    view = LiveView(Hand())
    view.update(reading(700.0, 50.0))
    view.update(reading(800.0, 1.0))
    (series,) = view.series
    assert series.values == (800.0,)


def test_conditions_are_live_only_while_they_are_looked_at() -> None:
    hand = Hand()
    view = LiveView(hand)
    seen = {"run": "r", "gate": "closed", "results": []}
    view.update({"conditions": seen})
    before = view.key
    assert view.conditions == seen
    hand.now_s += FRESH_S + 0.1
    view.update({"conditions": seen})
    assert view.conditions == {}
    assert view.key != before


def test_an_absent_value_is_no_reading() -> None:
    view = LiveView(Hand())
    view.update({"reading:engine-speed": {"signal": "engine-speed", "value": None, "unit": "rpm", "time_s": 1.0}})
    assert view.series == ()


def test_the_hub_gives_up_the_feed_when_nobody_watches(tmp_path: Path) -> None:
    async def go() -> None:
        hub = LiveHub(JobClient(tmp_path))
        async with hub.watching(), hub.watching():
            await asyncio.sleep(0)
        await asyncio.sleep(0)
        others = [t for t in asyncio.all_tasks() if t is not asyncio.current_task()]
        await asyncio.gather(*others)
        assert all(t.done() for t in others)

    asyncio.run(go())


def test_bodies_of_the_union_are_what_is_followed() -> None:
    assert isinstance(bodies(demo_job())[0], b.JobOpened)


def test_values_are_drawn_once_for_all_who_watch_and_never_kept_beyond_their_moment(tmp_path: Path) -> None:
    from kit.gallery import store

    store(tmp_path, "J-1", bodies(demo_job())[:-1])
    desk = Desk(tmp_path)
    pages, drawn = desk.sources.pages, list[object]()
    inner = pages._values

    def counted(*given: Any) -> str:
        drawn.append(given)
        return inner(*given)

    pages._values = counted  # type: ignore[method-assign]
    view = LiveView(lambda: 100.0)
    view.update({"reading:engine-speed": {"value": 750.0, "unit": "rpm", "time_s": 1.0}})
    shown = [pages.live("J-1", view, Viewer("", narrow)) for narrow in (False, False, True, False, True)]
    assert len(drawn) == 2, "one for each width"
    assert "750 rpm" in shown[0]["html"]
    view.update({"reading:engine-speed": {"value": 820.0, "unit": "rpm", "time_s": 2.0}})
    assert "820 rpm" in pages.live("J-1", view, Viewer())["html"]
    assert len(drawn) == 3


def test_progress_and_beats_are_sent_when_they_change_only(tmp_path: Path) -> None:
    from kit.gallery import store

    store(tmp_path, "J-1", bodies(demo_job())[:3])
    follower = Desk(tmp_path).follower(3)
    first = {"html": "a", "progress": "p", "beats": {"key": "k", "cues": []}}
    assert set(follower._changed(first)) == {"html", "progress", "beats"}
    assert follower._changed({**first, "html": "b"}) == {"html": "b"}
    assert follower._changed({**first, "beats": {}}) == {"html": "a", "beats": {}}


def test_of_many_signals_only_the_strips_keep_their_past() -> None:
    view = LiveView(lambda: 5.0)
    for n in range(5):
        view.update({f"reading:s{k}": {"value": float(n), "unit": "1", "time_s": float(n)} for k in range(6)})
    assert [len(s) for s in view.newest(4)] == [5, 5, 5, 5, 1, 1]
    assert [s.values[-1] for s in view.newest(0)] == [4.0] * 6
    assert view.series == view.newest(6)
