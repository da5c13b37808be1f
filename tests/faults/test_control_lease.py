"""Two devices at one car, over the real channel of a real engine process: only one confirms, whatever they try."""

from __future__ import annotations

import asyncio
import sys
from pathlib import Path

import pytest

from asleft.bench.cars.petrol import PetrolCar
from asleft.bench.client import HostedCar
from asleft.job.client import JobClient
from asleft.model.control import ControlHow
from asleft.model.errors import AsleftError, Code
from asleft.model.question import Question, QuestionKind
from asleft.practice.scene import demo_order

OKAFOR, NOVAK = ("M. Okafor", "tablet 1"), ("A. Novak", "tablet 2")


async def start_engine(folder: Path, car: HostedCar) -> asyncio.subprocess.Process:
    process = await asyncio.create_subprocess_exec(
        *(sys.executable, "-m", "asleft.practice.engine", "--folder", str(folder), "--channel", car.channel),
        *("--port", str(car.port), "--control", str(car.control)),
        stdout=asyncio.subprocess.PIPE,
    )
    assert process.stdout is not None
    assert await asyncio.wait_for(process.stdout.readline(), 60)
    return process


async def until_effect(client: JobClient, job: str) -> Question:
    """Answer as the technician until an effect is to be confirmed."""
    answered: set[str] = set()
    for _ in range(2000):
        question = client.watch(job).state.waiting_for
        if question is not None and question.kind is QuestionKind.EFFECT:
            return question
        if question is not None and question.id not in answered:
            answered.add(question.id)
            if question.act:
                await client.bench_act(question.act)
            await client.answer(job, question.id, question.choices[0], *OKAFOR)
        await asyncio.sleep(0.05)
    raise AssertionError("no effect was ever asked for")


async def refused(call: object) -> None:
    with pytest.raises(AsleftError) as caught:
        await call  # type: ignore[misc]
    assert caught.value.code is Code.CONTROL_HELD


@pytest.mark.timeout(240)
def test_one_person_on_one_device_confirms_effects(tmp_path: Path) -> None:
    async def main() -> None:
        async with HostedCar("petrol", seed=1) as car:
            engine = await start_engine(tmp_path, car)
            client, other = JobClient(tmp_path), JobClient(tmp_path)
            job = await client.open_job(demo_order(PetrolCar(seed=1).vin))
            question = await until_effect(client, job)
            yes = question.choices[0]

            await other.take_control(job, *NOVAK)
            await refused(client.answer(job, question.id, yes, *OKAFOR))
            await refused(client.answer(job, question.id, yes, OKAFOR[0], NOVAK[1]))
            await refused(client.answer(job, question.id, yes, OKAFOR[0]))
            await refused(client.take_control(job, *OKAFOR))
            await refused(client.hand_over(job, *OKAFOR, *OKAFOR))
            assert not client.watch(job).state.effects
            assert client.watch(job).state.waiting_for == question

            await other.hand_over(job, *NOVAK, *OKAFOR)
            assert (await client.engine())["control"] == {"by": OKAFOR[0], "device": OKAFOR[1]}
            await refused(other.answer(job, question.id, yes, *NOVAK))
            await client.answer(job, question.id, yes, *OKAFOR)
            for _ in range(200):
                if client.watch(job).state.effects:
                    break
                await asyncio.sleep(0.05)
            state = client.watch(job).state
            assert len(state.effects) == 1
            assert [move.how for move in state.control] == [ControlHow.TAKEN, ControlHow.HANDED_OVER]
            await other.stop(job)  # free to everybody
            engine.terminate()
            await engine.wait()

    asyncio.run(main())


@pytest.mark.full
@pytest.mark.timeout(240)
def test_two_devices_press_at_the_same_time(tmp_path: Path) -> None:
    async def main() -> None:
        async with HostedCar("petrol", seed=1) as car:
            engine = await start_engine(tmp_path, car)
            client, other = JobClient(tmp_path), JobClient(tmp_path)
            job = await client.open_job(demo_order(PetrolCar(seed=1).vin))
            question = await until_effect(client, job)
            presses = (
                client.answer(job, question.id, question.choices[0], *OKAFOR),
                other.answer(job, question.id, question.choices[0], *NOVAK),
            )
            results = await asyncio.gather(*presses, return_exceptions=True)
            assert sum(result is None for result in results) == 1, results
            state = client.watch(job).state
            assert len(state.control) == 1
            assert state.holder.by in {OKAFOR[0], NOVAK[0]}
            engine.terminate()
            await engine.wait()

    asyncio.run(main())
