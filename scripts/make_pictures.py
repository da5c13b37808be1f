"""Makes the pictures of the docs: the real demo, driven in Chromium like a technician would, and one report page.

python scripts/make_pictures.py
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
#: Part of a question's text -> picture taken while it is open.
MOMENTS = {"Start now": "page-effect", "Press the accelerator": "page-sweep"}


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


def drive(address: str, chromium: str) -> None:
    """Work the whole job on the page and take pictures on the way."""
    from playwright.sync_api import sync_playwright  # noqa: PLC0415

    from kit.drive import whole_job  # noqa: PLC0415

    flags = ["--headless", "--no-sandbox", "--disable-gpu", "--disable-background-networking"]
    with sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=chromium, args=flags)
        page = browser.new_context(viewport=TABLET).new_page()
        page.goto(address)

        def moment(text: str) -> str:
            for part, name in MOMENTS.items():
                if part in text:
                    looks(page, name)
            return ""

        whole_job(page, moment)
        looks(page, "page")
        job = page.url.partition("#")[0]
        page.goto(f"{job}/verdict/{PROVEN}")
        looks(page, "verdict")
        page.goto(f"{job}/order")
        page.locator(".order .later").first.click()
        looks(page, "order")
        page.goto(address.partition("/job/")[0] + "/book/idle-relearn-aldra")
        looks(page, "book")
        page.get_by_role("link", name="Rehearse").click()
        page.get_by_role("button", name="Begin").click()
        page.wait_for_function("() => document.querySelector('.beat-now').textContent === 'pedal to the floor'")
        looks(page, "rehearsal")
        browser.close()


def live() -> None:
    """Start the demo, drive it, end it."""
    chromium = next(p for n in ("chromium", "chromium-browser", "google-chrome") if (p := shutil.which(n)))
    command = [sys.executable, "-c", "from asleft.cli import main; main()", "demo"]
    demo = subprocess.Popen(command, stdout=subprocess.PIPE, text=True)
    try:
        assert demo.stdout is not None
        address = demo.stdout.readline().split()[-1]
        drive(address, chromium)
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
    report()
    live()
