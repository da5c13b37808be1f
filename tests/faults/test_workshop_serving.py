"""``asleft serve`` as real processes: a workshop without a link, and one whose interface leads to a bench car."""

from __future__ import annotations

import json
import re
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import httpx
import pytest

from asleft.job.workshop import write_workshop
from kit.processes import Child, free_port

VIN = "1ZZAA16E8C1000018"
RUN = "from asleft.cli import main; main()"


@contextmanager
def served(folder: Path, *more: str) -> Iterator[tuple[str, list[str]]]:
    """The command on a free port: where the page is, and what was said before."""
    port = free_port()
    command = [sys.executable, "-c", RUN, "serve", "--data", str(folder), "--port", str(port), *more]
    process = subprocess.Popen(command, stdout=subprocess.PIPE, text=True, start_new_session=True)
    assert process.stdout is not None
    try:
        lines = [""]
        while not lines[-1].startswith("Ctrl-C"):
            lines.append(process.stdout.readline())
            assert lines[-1], lines
        yield f"http://127.0.0.1:{port}", lines
    finally:
        process.send_signal(signal.SIGINT)
        assert process.wait(30) == 0
        process.stdout.close()


def open_job(url: str) -> httpx.Response:
    token = re.findall(r'name="token" value="([^"]+)"', httpx.get(url).text)[0]
    data = {"token": token, "vin": VIN, "make": "Aldra", "work_items": "throttle-removed-refitted"}
    return httpx.post(f"{url}/open", data=data, timeout=30)


def test_without_a_link_no_job_begins_and_the_page_says_what_to_do(tmp_path: Path) -> None:
    write_workshop(tmp_path, workshop="Gable Street Motors (fictional)")
    with served(tmp_path) as (url, lines):
        assert any("none chosen yet" in line for line in lines)
        assert any("real cars is closed" in line for line in lines)
        answer = open_job(url)
        assert answer.status_code == 400
        assert "asleft links lists what is found" in answer.text
        assert "/job/" not in httpx.get(url).text
    assert not (tmp_path / "engine.json").exists()


@pytest.mark.full
def test_an_interface_that_leads_to_a_bench_car_gives_its_picture(tmp_path: Path) -> None:
    host = Child("asleft.bench.host", "petrol", "--seed", "3", log=tmp_path / "host.log")
    said = json.loads(host.start())
    try:
        folder = tmp_path / "data"
        link = f"can:udp_multicast:{said['channel']}?option.port={said['port']}"
        write_workshop(folder, workshop="Gable Street Motors (fictional)", technician="M. Okafor", link=link)
        with served(folder) as (url, _):
            answer = open_job(url)
            assert answer.status_code == 303
            sheet = url + answer.headers["location"]
            end = time.monotonic() + 60
            while 'name="question"' not in (page := httpx.get(sheet).text):
                assert time.monotonic() < end, page
                time.sleep(0.2)
            assert "vehicle" in page  # the careful error: a bench bus reached by its raw address
            assert httpx.get(sheet + "/report.pdf", timeout=30).content.startswith(b"%PDF")
    finally:
        host.end()
