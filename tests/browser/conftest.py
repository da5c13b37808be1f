"""The real page in the system's Chromium. Every page opened here is watched: a script error, a console error or a
request that leaves the page's own origin fails the test.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import pytest
from playwright.sync_api import Browser, Page, sync_playwright

from asleft.event import body as b
from asleft.event.envelope import Event
from kit.events import fail_job, hostile_job, replay_job
from kit.evidence import evidence_job
from kit.gallery import StandIn, bodies, cut_after, store, whole_job
from kit.processes import PageProcess

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


class Gallery:
    """A data folder with jobs in every state, the page's process on it, and a stand-in for the engine."""

    def __init__(self, base: Path) -> None:
        self.folder = base / "data"
        self.folder.mkdir()
        for name, events in states().items():
            store(self.folder, f"G-{name}", bodies(events), events[0].origin)
        self.page = PageProcess(self.folder)
        self.page.start()

    def url(self, name: str) -> str:
        return f"{self.page.url}job/G-{name}"


@pytest.fixture(scope="session")
def gallery(tmp_path_factory: pytest.TempPathFactory, chromium: str) -> Iterator[Gallery]:
    """Shared by all tests of this process; they look, and change nothing."""
    base = tmp_path_factory.mktemp("gallery")
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("ASLEFT_DATA", str(base / "workshop"))  # no procedures of whoever runs the tests
        gallery = Gallery(base)
    yield gallery
    gallery.page.end()


@pytest.fixture(scope="session")
def engine(gallery: Gallery) -> Iterator[StandIn]:
    """The stand-in that says which of the gallery's jobs is in hand."""
    with StandIn(gallery.folder) as engine:
        yield engine


@pytest.fixture(scope="module")
def browser(chromium: str) -> Iterator[Browser]:
    """One Chromium for a module: while it runs, no other loop can run in this process."""
    whole_job()  # a loop of its own: not possible once the browser's runs
    arguments = ["--no-sandbox", "--disable-gpu", "--disable-background-networking", "--disable-dev-shm-usage"]
    with sync_playwright() as playwright:
        launched = playwright.chromium.launch(executable_path=chromium, args=arguments)
        yield launched
        launched.close()


@pytest.fixture
def open_page(browser: Browser) -> Iterator[OpenPage]:
    """Open an address in a context of its own: ``open_page(url, width, height, expects=…, **options)``.

    ``expects``: parts of console messages that this test provokes.
    """
    contexts: list[Any] = []
    wrong: list[str] = []

    def opened(
        url: str, width: int = 820, height: int = 1180, *, expects: tuple[str, ...] = (), **options: Any
    ) -> Page:
        context = browser.new_context(
            viewport={"width": width, "height": height},
            color_scheme="light",
            reduced_motion="reduce",
            **options,
        )
        context.set_default_timeout(WAIT_MS)
        contexts.append(context)
        page = context.new_page()
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

        page.on("requestfinished", sent)
        page.on("requestfailed", failed)
        page.on("console", console)
        page.on("pageerror", lambda error: wrong.append(f"script: {error}"))
        page.goto(url)
        return page

    yield opened
    for context in contexts:
        context.close()
    assert not wrong
