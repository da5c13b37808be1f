"""Makes the pictures of the docs: the real demo, driven in Chromium like a technician would, and one report page.

python scripts/make_pictures.py [drawn] [live] [report]

*drawn*: pages of a whole job that was worked in virtual time, the book, a rehearsal. *live*: moments of the demo's own
processes in real time, up to the pedal sweep (three minutes). *report*: one page on paper. Without a word: all three.
"""

from __future__ import annotations

import io
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

REPO = Path(__file__).parents[1]
OUT = REPO / "docs" / "pictures"
sys.path.insert(0, str(REPO / "tests"))

TABLET, LAPTOP = {"width": 820, "height": 1180}, {"width": 1280, "height": 800}

#: The run that the demo proves.
PROVEN = "throttle-stop-learn-1"
#: Part of a question's text -> picture taken while it is open; the last one ends the live part.
MOMENTS = {"Start now": "page-effect", "Press the accelerator": "page-sweep"}
FLAGS = ["--headless", "--no-sandbox", "--disable-gpu", "--disable-background-networking"]


def small(png: bytes, name: str) -> None:
    """Keep a screenshot with a palette: sharp text, little weight."""
    from PIL import Image  # noqa: PLC0415

    OUT.mkdir(parents=True, exist_ok=True)
    image = Image.open(io.BytesIO(png)).convert("RGB").quantize(96)
    image.save(OUT / f"{name}.png", optimize=True)


def looks(page: object, name: str) -> None:
    """The page on a tablet by day and on a laptop by night."""
    from playwright.sync_api import Page  # noqa: PLC0415

    assert isinstance(page, Page)
    for size, scheme, suffix in ((TABLET, "light", "tablet-light"), (LAPTOP, "dark", "laptop-dark")):
        page.set_viewport_size(size)
        page.emulate_media(color_scheme=scheme)
        page.wait_for_timeout(600)
        small(page.screenshot(), f"{name}-{suffix}")
    page.set_viewport_size(TABLET)
    page.emulate_media(color_scheme="light")


def drive(address: str) -> None:
    """Work the job on the page as far as the last moment, and take pictures on the way."""
    from playwright.sync_api import sync_playwright  # noqa: PLC0415

    from kit.drive import press, wait_question  # noqa: PLC0415

    with sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=chromium(), args=FLAGS)
        page = browser.new_context(viewport=TABLET).new_page()
        page.goto(address)
        left, last = dict(MOMENTS), ""
        while left:
            last = wait_question(page, last)
            asked = page.locator("#part-next .ask").first.inner_text()
            for part in [part for part in left if part in asked]:
                looks(page, left.pop(part))
            press(page)
        browser.close()


def drawn() -> None:
    """Pages of a job that was worked to its end in virtual time, of the book and of a rehearsal."""
    from playwright.sync_api import sync_playwright  # noqa: PLC0415

    from asleft.job.papers import record_path  # noqa: PLC0415
    from asleft.job.records import export  # noqa: PLC0415
    from kit.bench_job import play  # noqa: PLC0415
    from kit.gallery import StandIn, bodies, free_job, store  # noqa: PLC0415
    from kit.processes import PageProcess  # noqa: PLC0415

    with tempfile.TemporaryDirectory() as base:
        folder = Path(base) / "data"
        folder.mkdir()
        assert play(folder, idle=True).error is None
        store(folder, "2031-0418", bodies(free_job()))
        record_path(folder, "T-1").parent.mkdir(exist_ok=True)
        export(folder, "T-1", record_path(folder, "T-1"))
        page_process = PageProcess(folder)
        page_process.start()
        with sync_playwright() as driver, StandIn(folder) as engine:
            engine.job = "2031-0418"
            browser = driver.chromium.launch(executable_path=chromium(), args=FLAGS)
            page = browser.new_context(viewport=TABLET).new_page()
            for path, name in (("", "today"), ("job/T-1", "page"), (f"job/T-1/verdict/{PROVEN}", "verdict")):
                page.goto(page_process.url + path)
                looks(page, name)
            page.goto(f"{page_process.url}job/2031-0418/order")
            page.locator(".order .later").nth(1).click()
            page.get_by_label("Why this order").fill("the windscreen is set tomorrow")
            looks(page, "order")
            page.goto(page_process.url + "book/idle-relearn-aldra")
            looks(page, "book")
            page.locator("#h-change").click()
            page.get_by_role("button", name="Copy it into our own").click()
            page.locator("[name='v:entry[1].low']").fill("warm")
            page.locator("#draft .error").wait_for()
            page.locator("#f-entry").scroll_into_view_if_needed()
            looks(page, "edit")
            page.goto(page_process.url + "book/idle-relearn-aldra")
            page.get_by_role("link", name="Rehearse").click()
            page.get_by_role("button", name="Begin").click()
            page.wait_for_function("() => document.querySelector('.beat-now').textContent === 'pedal to the floor'")
            looks(page, "rehearsal")
            browser.close()
        page_process.end()


def chromium() -> str:
    """The system's Chromium."""
    return next(p for n in ("chromium", "chromium-browser", "google-chrome") if (p := shutil.which(n)))


def live() -> None:
    """Start the demo, drive it, end it."""
    command = [sys.executable, "-c", "from asleft.cli import main; main()", "demo"]
    demo = subprocess.Popen(command, stdout=subprocess.PIPE, text=True)
    try:
        assert demo.stdout is not None
        address = demo.stdout.readline().split()[-1]
        drive(address)
    finally:
        demo.terminate()
        demo.wait(60)


def report() -> None:
    """One page of the unattended demo's report."""
    with tempfile.TemporaryDirectory() as out:
        demo = ["from asleft.cli import main; main()", "demo", "--unattended", "--out", out]
        subprocess.run([sys.executable, "-c", *demo], check=True, stdout=subprocess.DEVNULL)
        maker = str(REPO / "scripts" / "make_report_picture.py")
        subprocess.run([sys.executable, maker, f"{out}/record.zip", str(OUT / "report.png")], check=True)


if __name__ == "__main__":
    wanted = sys.argv[1:] or ["drawn", "report", "live"]
    for name in wanted:
        {"drawn": drawn, "live": live, "report": report}[name]()
