"""The real page in the system's Chromium. Every page opened here is watched: a script error, a console error or a
request that leaves the page's own origin fails the test.

What costs time is shared: one data folder with one page's process and one stand-in for the engine in each worker, one
browser in each module, and its contexts, emptied between two tests.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import ExitStack
from functools import cache
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, sync_playwright

from asleft.event import body as b
from asleft.event.envelope import Event
from asleft.model.question import Answer, Question, QuestionKind
from asleft.record.journal import JobJournal, open_journal
from kit.events import fail_job, hostile_job, replay_job, say
from kit.evidence import evidence_job
from kit.gallery import StandIn, add, bodies, cut_after, whole_job
from kit.processes import PageProcess
from kit.record_kit import HandClock, Source

#: How long a busy machine may take for what a page shows, ms.
WAIT_MS = 30_000
NASTY = (
    "<script>document.title='owned'</script>\"'><img src=x onerror=\"document.title='owned'\">\u202egnirts" + "W" * 300
)

OpenPage = Callable[..., Page]


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    for item in items:
        if Path(__file__).parent in item.path.parents:
            item.add_marker(pytest.mark.browser)


@cache
def states() -> dict[str, tuple[Event, ...]]:
    """A job in every state worth looking at."""
    events = whole_job()
    return {
        "received": cut_after(events, b.QuestionAsked),
        "work": cut_after(events, b.QuestionAsked, 1, "work.done"),
        "choose": cut_after(events, b.QuestionAsked, 1, "identifier.choose"),
        "gate": cut_after(events, b.ConditionsSeen, 2),
        "effect": cut_after(events, b.QuestionAsked, 1, "effect.confirm"),
        "cycle": cut_after(events, b.QuestionAsked, 3, "key.off"),
        "proof": cut_after(events, b.CriterionJudged, 3),
        "closed": events,
        "failed": fail_job(),
        "replayed": replay_job(),
        "hostile": hostile_job(NASTY),
        "evidence": evidence_job(),
    }


class Workshop:
    """A data folder with the page's process on it and a stand-in for the engine; tests write jobs into it."""

    def __init__(self, base: Path, stack: ExitStack) -> None:
        self.folder = base / "data"
        self.folder.mkdir()
        self._stack = stack
        self._journals = stack.enter_context(open_journal(self.folder))
        self._hung: set[str] = set()
        self._opened = 0
        self.engine = stack.enter_context(StandIn(self.folder))
        self.page = PageProcess(self.folder)
        self.page.start()
        stack.callback(self.page.end)

    def new_job(self) -> JobJournal:
        """A job of a test's own, still empty."""
        self._opened += 1
        return self.create(f"J-{self._opened}")

    def create(self, number: str, origin: Any = None) -> JobJournal:
        source = Source(origin) if origin else Source()
        journal = self._journals.create(number, source=source, clock=HandClock())  # type: ignore[arg-type]
        self._stack.callback(journal.give_back)
        return journal

    def state(self, name: str) -> str:
        """Number of the gallery's job in this state; written when it is asked for first."""
        number = f"G-{name}"
        if name not in self._hung:
            self._hung.add(name)
            events = states()[name]
            journal = self.create(number, events[0].origin)
            for body in bodies(events):
                add(journal, body)
        return number

    def fresh(self) -> None:
        """As a test wants to find it: nothing in hand, nothing told, nothing live, the page's process there."""
        self.engine.forget()
        if not self.page.running:
            self.page.start()


@pytest.fixture(scope="session")
def workshop(tmp_path_factory: pytest.TempPathFactory, chromium: str) -> Iterator[Workshop]:
    """One for all tests of this worker."""
    base = tmp_path_factory.mktemp("workshop")
    with pytest.MonkeyPatch.context() as patch, ExitStack() as stack:
        patch.setenv("ASLEFT_DATA", str(base / "own"))  # no procedures of whoever runs the tests
        yield Workshop(base, stack)


class Gallery:
    """Jobs in every state; tests look at them, and change nothing."""

    def __init__(self, workshop: Workshop) -> None:
        self._workshop = workshop
        self.page = workshop.page

    def url(self, name: str) -> str:
        return f"{self.page.url}job/{self._workshop.state(name)}"

    def at(self, path: str) -> str:
        """Address of a page by its path; a job it names is there."""
        if path.startswith("job/G-"):
            self._workshop.state(path.split("/")[1].removeprefix("G-"))
        return self.page.url + path


@pytest.fixture
def gallery(workshop: Workshop) -> Gallery:
    workshop.fresh()
    return Gallery(workshop)


@pytest.fixture
def engine(workshop: Workshop) -> StandIn:
    """The stand-in that says which of the gallery's jobs is in hand."""
    return workshop.engine


class Bench:
    """One job that the test itself writes on, with its page and a stand-in for the engine."""

    def __init__(self, workshop: Workshop) -> None:
        self.journal = workshop.new_job()
        self.engine = workshop.engine
        self.engine.job = self.journal.job
        self.page = workshop.page
        self.url = f"{self.page.url}job/{self.journal.job}"

    def write(self, *events: b.Body) -> None:
        for event in events:
            add(self.journal, event)

    def ask(self, name: str, kind: QuestionKind = QuestionKind.ACT, text: str = "", act: str = "") -> None:
        choices = ("stop here",) if kind is QuestionKind.TYPE else ("done", "stop here")
        message = say("x", "{text}", text=text or f"Question {name}")
        self.write(b.QuestionAsked("job", Question(name, kind, message, choices, (), act)))

    def answered(self, name: str, text: str = "done") -> None:
        self.write(b.QuestionAnswered("job", Answer(name, text, "somebody")))

    @property
    def sequence(self) -> int:
        return len(self.journal.events())

    def told(self, command: str) -> list[dict[str, Any]]:
        return [t for t in self.engine.told if t["command"] == command]


@pytest.fixture
def bench(workshop: Workshop) -> Bench:
    workshop.fresh()
    return Bench(workshop)


class Tabs:
    """One browser and its contexts by their options, each with one page: taken by a test, given back empty."""

    def __init__(self, browser: Browser) -> None:
        self._browser = browser
        self._free: dict[str, list[tuple[BrowserContext, Page]]] = {}
        self._taken: list[tuple[str, BrowserContext, Page]] = []

    def take(self, options: dict[str, Any], width: int, height: int) -> Page:
        kind = repr(sorted(options.items()))
        free = self._free.setdefault(kind, [])
        if not free:
            context = self._browser.new_context(color_scheme="light", reduced_motion="reduce", **options)
            context.set_default_timeout(WAIT_MS)
            free.append((context, context.new_page()))
        context, page = free.pop()
        self._taken.append((kind, context, page))
        page.set_viewport_size({"width": width, "height": height})
        return page

    def give_back(self) -> None:
        """Emptied: no other page, no cookie, no route, on the network, as light and as still as at first."""
        for kind, context, page in self._taken:
            if page.is_closed():
                context.close()
                continue
            for other in context.pages:
                if other is not page:
                    other.close()
            page.unroute_all()
            context.set_offline(False)
            page.goto("about:blank")
            page.mouse.move(0, 0)
            context.clear_cookies()
            page.emulate_media(color_scheme="light", reduced_motion="reduce")
            self._free[kind].append((context, page))
        self._taken.clear()


@pytest.fixture(scope="module")
def browser(chromium: str) -> Iterator[Browser]:
    """One Chromium for a module: while it runs, no other loop can run in this process."""
    states()  # a loop of its own: not possible once the browser's runs
    arguments = ["--no-sandbox", "--disable-gpu", "--disable-background-networking", "--disable-dev-shm-usage"]
    with sync_playwright() as playwright:
        launched = playwright.chromium.launch(executable_path=chromium, args=arguments)
        yield launched
        launched.close()


@pytest.fixture(scope="module")
def tabs(browser: Browser) -> Tabs:
    return Tabs(browser)


@pytest.fixture
def open_page(tabs: Tabs) -> Iterator[OpenPage]:
    """Open an address, in a context of its own: ``open_page(url, width, height, expects=…, **options)``.

    ``expects``: parts of console messages that this test provokes.
    """
    wrong: list[str] = []
    watched: list[tuple[Page, str, Any]] = []

    def opened(
        url: str, width: int = 820, height: int = 1180, *, expects: tuple[str, ...] = (), **options: Any
    ) -> Page:
        page = tabs.take(options, width, height)
        own = "{0.scheme}://{0.netloc}".format(urlsplit(url))

        def sent(request: Any) -> None:
            if not request.url.startswith((own + "/", "data:")):
                wrong.append(f"left its origin: {request.url}")

        def failed(request: Any) -> None:
            if request.failure != "csp":
                sent(request)

        def console(message: Any) -> None:
            if message.type in {"error", "warning"} and not any(part in message.text for part in expects):
                wrong.append(f"console: {message.text}")

        def broken(error: Any) -> None:
            wrong.append(f"script: {error}")

        handlers = (("requestfinished", sent), ("requestfailed", failed), ("console", console), ("pageerror", broken))
        for name, handler in handlers:
            page.on(name, handler)  # type: ignore[call-overload]
            watched.append((page, name, handler))
        page.goto(url)
        return page

    yield opened
    for page, name, handler in watched:
        page.remove_listener(name, handler)
    tabs.give_back()
    assert not wrong
