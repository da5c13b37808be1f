"""A real engine process, a real bench process, a real kill -9 in the middle of a learn; then another engine goes on."""

from __future__ import annotations

import asyncio
import os
import signal
import sys
from pathlib import Path

import pytest

from asleft.bench.cars.petrol import PetrolCar
from asleft.bench.client import HostedCar
from asleft.event.fold import JobState
from asleft.job.client import JobClient
from asleft.model.errors import AsleftError
from asleft.practice.scene import demo_order

LEARN = "throttle-stop-learn-1"


async def start_engine(folder: Path, car: HostedCar) -> asyncio.subprocess.Process:
    process = await asyncio.create_subprocess_exec(
        *(sys.executable, "-m", "asleft.practice.engine", "--folder", str(folder), "--channel", car.channel),
        *("--port", str(car.port), "--control", str(car.control)),
        stdout=asyncio.subprocess.PIPE,
    )
    assert process.stdout is not None
    assert await asyncio.wait_for(process.stdout.readline(), 60)
    return process


async def until(client: JobClient, job: str, wanted: str, timeout_s: float = 90.0) -> JobState:
    """Answer questions as the technician would, until a question's text or an event shows ``wanted``."""
    loop = asyncio.get_running_loop()
    end = loop.time() + timeout_s
    answered: set[str] = set()
    while loop.time() < end:
        state = client.watch(job).state
        run = state.runs.get(LEARN)
        if wanted == "moving" and run is not None and run.module_state is not None:
            return state
        if wanted == "ended" and run is not None and run.end is not None:
            return state
        question = state.waiting_for
        if wanted == "question" and question is not None:
            return state
        if question is not None and question.id not in answered:
            answered.add(question.id)
            if question.act:
                await client.bench_act(question.act)
            await client.answer(job, question.id, question.choices[0], "M. Okafor")
        await asyncio.sleep(0.05)
    raise AssertionError(f"never came to {wanted}; open: {client.watch(job).state.waiting_for}")


@pytest.mark.timeout(240)
def test_a_killed_engine_loses_nothing_and_repeats_nothing(tmp_path: Path) -> None:
    async def main() -> None:
        async with HostedCar("petrol", seed=1) as car:
            first = await start_engine(tmp_path, car)
            client = JobClient(tmp_path)
            job = await client.open_job(demo_order(PetrolCar(seed=1).vin))
            await until(client, job, "question")
            with pytest.raises(AsleftError, match="not the job in hand"):
                await client.stop("2026-9999")
            before = await until(client, job, "moving")
            os.kill(first.pid, signal.SIGKILL)
            await first.wait()
            assert len(before.effects) == 1

            with pytest.raises(AsleftError):
                await client.engine()

            second = await start_engine(tmp_path, car)
            await client.go_on(job)
            after = await until(client, job, "ended")  # the key is off: what cannot be read is put to the person
            second.send_signal(signal.SIGINT)
            assert await asyncio.wait_for(second.wait(), 60) == 0

            kept = client.watch(job).events
            assert [e.sequence for e in kept] == list(range(1, len(kept) + 1))
            assert len(after.effects) == 1, "nothing was sent again by itself"
            assert not after.unsettled
            assert after.runs[LEARN].end is not None
            assert client.watch(job).state.stopped is not None, "Ctrl-C is written down"
            assert client.record_zip(job).startswith(b"PK")

    asyncio.run(main())
