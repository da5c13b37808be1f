"""How fast the page is: from the bus to the socket of ten watchers, starts, sizes; each against its stated limit.

Run: .venv/bin/python benchmarks/page_speed.py [--seconds 10] [--watchers 10] [--json]
     .venv/bin/python benchmarks/page_speed.py --frames 600 --json      # ten minutes in a real browser

*Bus to socket*: 64 signals in 16 cyclic frames at 10 Hz, sent by the bench's broadcaster over the loopback bus; a
process reads them by a network description and puts them on the engine's feed; the page's own process serves ten
watchers on loopback. A value counts when the last byte of the message that shows it has been read from the watcher's
socket; its time begins when its frame was handed to the bus. Values that a newer one replaced before a message was made
are not counted as late but as skipped (newest wins). *Help*: `asleft --help` against a bare interpreter, medians,
alternating. *Ready*: from the start of the page's process to its first line. *First visit*: bytes, uncompressed.

*Frames*: the same 64 signals on the job sheet in the system's Chromium at 820 x 1180. A frame is dropped when none was
drawn in its sixtieth of a second (times of requestAnimationFrame); the share is of all that were due. The
same is counted on an empty page for five seconds before, so that a busy machine is seen.

Limits: 95th percentile under 100 ms, help under 4 times, ready under 2 s, first visit under 300 kB, frames under 5 %.
"""

from __future__ import annotations

import argparse
import asyncio
import contextlib
import json
import re
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
import urllib.request
from collections.abc import Callable
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "tests"))

from asleft.bench.broadcast import Broadcast, Broadcaster
from asleft.bench.client import LoopbackBus
from asleft.bench.loopback import CHANNEL
from asleft.event.body import ConditionsSeen
from asleft.job.channel import ChannelServer, LiveFeed
from asleft.job.clock import real_clock
from asleft.job.engine import show_on
from asleft.link.bus_link import BusLink
from asleft.live.broadcasts import BroadcastSignal, BroadcastSignals
from kit.events import demo_job, opened
from kit.gallery import bodies, cut_after, store
from kit.processes import Child, PageProcess, free_port

FRAMES, EACH, FIRST_ID, PERIOD_S = 16, 4, 0x300, 0.1
LIMIT_MS, HELP_TIMES, READY_S, FIRST_VISIT = 100.0, 4.0, 2.0, 300_000
DROPPED_PERCENT, EMPTY_S = 5.0, 5.0
COUNT = """seconds => new Promise(done => { const times = []; const end = performance.now() + 1000 * seconds;
  const step = now => { times.push(now); if (now < end) requestAnimationFrame(step); else {
    const due = Math.round((times[times.length - 1] - times[0]) * 0.06);
    const gaps = times.slice(1).map((t, n) => t - times[n]);
    done({ due, dropped: Math.max(0, due - (times.length - 1)), longest_ms: Math.round(Math.max(...gaps)) }); } };
  requestAnimationFrame(step); })"""
#: How long everything runs before values are counted, s.
SETTLE_S = 2.0


def description() -> str:
    """The network description: each signal is the frame's own count."""
    lines = ['VERSION ""', "", "BS_:", "", "BU_: M", ""]
    for frame in range(FRAMES):
        lines.append(f"BO_ {FIRST_ID + frame} F{frame}: 8 M")
        lines += [f' SG_ S{frame}_{n} : {16 * n}|16@1+ (1,0) [0|65535] "rpm" X' for n in range(EACH)]
        lines.append("")
    return "\n".join(lines)


def wanted() -> list[BroadcastSignal]:
    return [
        BroadcastSignal(f"bench-{frame:02d}-{n}", f"S{frame}_{n}", "rpm", f"F{frame}")
        for frame in range(FRAMES)
        for n in range(EACH)
    ]


async def engine(folder: Path, port: int) -> None:
    """The engine's half: broadcasts to the feed, until its input ends."""
    clock, feed = real_clock(), LiveFeed()
    said = {"origin": "bench", "link": "loopback", "workshop": "w", "technician": "t", "job": "J-1", "bench": True}

    async def status(_request: dict[str, Any]) -> dict[str, Any]:
        return said

    server = ChannelServer(folder, {"status": status}, feed)
    bus = LoopbackBus(CHANNEL, port, clock)
    link = BusLink(bus, clock)
    await link.open()
    heard, show = BroadcastSignals(link, wanted(), folder / "bench.dbc"), show_on(feed)
    heard.subscribe(lambda reading: show("reading", reading))
    heard.begin()
    await server.start()
    print("ready", flush=True)
    await asyncio.get_running_loop().run_in_executor(None, sys.stdin.read)
    await link.close()
    bus.close()
    await server.stop()


async def watch(page: PageProcess, until_s: float, taken: list[tuple[float, bytes]]) -> None:
    """One watcher: every live message with the time at which its last byte was read."""
    reader, writer = await asyncio.open_connection("127.0.0.1", page.port, limit=1 << 22)
    asked = f"GET /job/J-1/events?after=0 HTTP/1.1\r\nHost: 127.0.0.1:{page.port}\r\nAccept: text/event-stream\r\n\r\n"
    writer.write(asked.encode())
    live = False
    while time.monotonic() < until_s:
        line = await reader.readline()
        if not line:
            raise SystemExit("the page closed a watcher's connection")
        if line.startswith(b"event:"):
            live = b"live" in line
        elif line.startswith(b"data:") and live:
            taken.append((time.monotonic(), line))
    writer.close()


_ROW = re.compile(r"<span>bench (\d+) (\d+)</span> <strong>([\d\u202f\u2009 ,.]+)")


def latencies(
    taken: list[tuple[float, bytes]], sent: dict[tuple[int, int], float], from_s: float
) -> tuple[list[float], int]:
    """Times of all values that one watcher saw first, s, and how many were skipped."""
    last, found, skipped = dict[tuple[int, int], int](), list[float](), 0
    for at_s, line in taken:
        html = json.loads(line[len(b"data:") :])["html"]
        for frame, n, text in _ROW.findall(html):
            key, value = (int(frame), int(n)), int(re.sub(r"\D", "", text))
            before = last.get(key)
            if value == before:
                continue
            last[key] = value
            begun = sent.get((key[0], value))
            if begun is None or begun < from_s:
                continue
            found.append(at_s - begun)
            skipped += value - before - 1 if before is not None and value > before else 0
    return found, skipped


async def bus_to_socket(page: PageProcess, port: int, seconds: float, watchers: int) -> dict[str, Any]:
    clock = real_clock()
    bus = LoopbackBus(CHANNEL, port, clock)
    node = bus.join("broadcaster", lambda _frame: None)
    sent: dict[tuple[int, int], float] = {}
    counts = [100] * FRAMES

    def data(frame: int) -> Callable[[], bytes]:
        def now() -> bytes:
            counts[frame] += 1
            sent[frame, counts[frame]] = time.monotonic()
            return counts[frame].to_bytes(2, "little") * EACH

        return now

    cyclic = [Broadcast(FIRST_ID + n, PERIOD_S, data(n)) for n in range(FRAMES)]
    broadcaster = Broadcaster(cyclic, lambda item: node.send(item.frame()))
    broadcaster.start(clock)
    begin_s = time.monotonic()
    taken: list[list[tuple[float, bytes]]] = [[] for _ in range(watchers)]
    try:
        await asyncio.gather(*(watch(page, begin_s + SETTLE_S + seconds, one) for one in taken))
    finally:
        broadcaster.stop()
        bus.close()
    found, skipped = list[float](), 0
    for one in taken:
        more, left = latencies(one, sent, begin_s + SETTLE_S)
        found += more
        skipped += left
    if not found:
        raise SystemExit("no value reached a watcher")
    found.sort()
    return {
        "watchers": watchers,
        "signals": FRAMES * EACH,
        "values": len(found),
        "skipped": skipped,
        "messages_per_s": round(sum(map(len, taken)) / watchers / (SETTLE_S + seconds), 1),
        "kB_per_message": round(statistics.mean(len(line) for one in taken for _, line in one) / 1000, 1),
        "median_ms": round(1000 * statistics.median(found), 1),
        "p95_ms": round(1000 * found[int(0.95 * len(found))], 1),
        "limit_ms": LIMIT_MS,
    }


def frames(url: str, seconds: float) -> dict[str, Any]:
    """Frames that a real browser drops while it shows what is measured; in a process of its own."""
    from playwright.sync_api import sync_playwright  # noqa: PLC0415 - only for frames

    chromium = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium, args=["--no-sandbox", "--disable-gpu"])
        page = browser.new_page(viewport={"width": 820, "height": 1180})
        page.set_default_timeout(1000 * seconds + 60_000)
        empty = page.evaluate(COUNT, EMPTY_S)
        page.goto(f"{url}job/J-1")
        page.locator("#live svg").first.wait_for()
        shown = page.evaluate(COUNT, seconds)
        strips, values = page.locator("#live svg").count(), page.locator("#live strong").count()
        browser.close()
    return {
        "seconds": seconds,
        **shown,
        "dropped_percent": round(100.0 * shown["dropped"] / shown["due"], 2),
        "empty_page_percent": round(100.0 * empty["dropped"] / empty["due"], 2),
        "strips": strips,
        "values": values,
        "limit_percent": DROPPED_PERCENT,
    }


async def frames_beside(page: PageProcess, port: int, seconds: float) -> dict[str, Any]:
    """The browser's process beside the bus."""
    own = [sys.executable, str(Path(__file__).resolve()), "--browser", page.url, str(seconds)]
    told = await asyncio.create_subprocess_exec(*own, stdout=asyncio.subprocess.PIPE)
    bus = asyncio.create_task(bus_to_socket(page, port, seconds + 60.0, 1))
    out, _ = await told.communicate()
    bus.cancel()
    with contextlib.suppress(asyncio.CancelledError):
        await bus
    if told.returncode:
        raise SystemExit("the browser did not get through")
    return json.loads(out)


def help_times(rounds: int = 7) -> dict[str, Any]:
    """Medians of both, alternating in one run."""
    bare, ours = list[float](), list[float]()
    program = [sys.executable, "-c", "from asleft.cli import main; main()", "--help"]
    for _ in range(rounds):
        for command, times in (([sys.executable, "-c", "pass"], bare), (program, ours)):
            begin = time.perf_counter()
            subprocess.run(command, check=True, stdout=subprocess.DEVNULL)
            times.append(time.perf_counter() - begin)
    ratio = statistics.median(ours) / statistics.median(bare)
    return {"bare_ms": round(1000 * statistics.median(bare)), "ratio": round(ratio, 2), "limit": HELP_TIMES}


def first_visit(url: str) -> dict[str, int]:
    """Bytes of a page and of all that it names."""
    seen: dict[str, int] = {}

    def fetch(path: str) -> None:
        if path in seen:
            return
        with urllib.request.urlopen(url.rstrip("/") + path) as answer:
            content, kind = answer.read(), answer.headers["content-type"]
        seen[path] = len(content)
        text = content.decode()
        if "html" in kind:
            for name in re.findall(r'<(?:script|link)[^>]* (?:src|href)="(/[^"]+)"', text):
                fetch(name)
        elif "javascript" in kind:
            for name in re.findall(r'from "\./([\w.-]+)"', text):
                fetch("/static/" + name)

    fetch("/job/J-1")
    return {"bytes": sum(seen.values()), "files": len(seen), "limit": FIRST_VISIT}


def measure(seconds: float, watchers: int, frames_s: float = 0.0) -> dict[str, Any]:
    with tempfile.TemporaryDirectory() as base:
        folder = Path(base) / "data"
        folder.mkdir()
        gate = bodies(cut_after(demo_job(), ConditionsSeen)) if frames_s else [opened()]
        store(folder, "J-1", gate)
        (folder / "bench.dbc").write_text(description(), encoding="ascii")
        port = free_port()
        own = Path(__file__).resolve()
        half = Child("runpy", log=folder.parent / "engine.log")
        half._command = [sys.executable, str(own), "--engine", str(folder), str(port)]
        page = PageProcess(folder)
        begin = time.monotonic()
        page.start()
        ready_s = time.monotonic() - begin
        half.start()
        try:
            if frames_s:
                return {"frames": asyncio.run(frames_beside(page, port, frames_s))}
            found = asyncio.run(bus_to_socket(page, port, seconds, watchers))
            visit = first_visit(page.url)
        finally:
            half.kill()
            page.end()
    return {
        "bus-to-socket": found,
        "help": help_times(),
        "ready": {"s": round(ready_s, 2), "limit": READY_S},
        "first-visit": visit,
    }


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--seconds", type=float, default=10.0)
    parser.add_argument("--watchers", type=int, default=10)
    parser.add_argument("--json", action="store_true")
    parser.add_argument("--frames", type=float, default=0.0, metavar="SECONDS", help="only this: frames in a browser")
    parser.add_argument("--browser", nargs=2, metavar=("URL", "SECONDS"), help=argparse.SUPPRESS)
    parser.add_argument("--engine", nargs=2, metavar=("FOLDER", "PORT"), help=argparse.SUPPRESS)
    given = parser.parse_args()
    if given.engine:
        asyncio.run(engine(Path(given.engine[0]), int(given.engine[1])))
        return
    if given.browser:
        print(json.dumps(frames(given.browser[0], float(given.browser[1]))))
        return
    found = measure(min(given.seconds, 600.0), min(given.watchers, 50), min(given.frames, 900.0))
    if given.json:
        print(json.dumps(found))
        return
    for name, values in found.items():
        print(f"{name}: " + ", ".join(f"{key} {value}" for key, value in values.items()))


if __name__ == "__main__":
    main()
