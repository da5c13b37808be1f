"""The demo job to its end in virtual time: the same car, bus, engine and record as live, with a scripted technician."""

from __future__ import annotations

import tempfile
from dataclasses import dataclass
from pathlib import Path

from asleft.bench.bus import InLoopBus
from asleft.bench.cars.petrol import PetrolCar
from asleft.event.fold import JobState, fold
from asleft.job.clock import LoopClock, run_virtual
from asleft.job.single import JobRequest, work_single
from asleft.model.verdict import Verdict

from .driver import BenchDriver, LocalActs
from .person import ScriptedPerson
from .scene import ALDRA, BEFORE_HAND_OVER, TECHNICIAN, WORKSHOP, demo_order, settings_facts


@dataclass(frozen=True)
class DemoResult:
    """What the unattended demo left.

    Attributes:
        out: folder with ``record.zip``, ``report.pdf`` and ``key.pem``.
        head: hash of the last event.
        state: the job as its events say.
        virtual_s: how long it took at the car, s.
    """

    out: Path
    head: str
    state: JobState
    virtual_s: float

    @property
    def verdicts(self) -> dict[str, Verdict]:
        """Verdict of each run that had a proof."""
        return {r.started.function: r.verdict for r in self.state.runs.values() if r.verdict is not None}

    @property
    def passed(self) -> bool:
        """Whether every proof passed, and there was one."""
        return bool(self.verdicts) and all(v is Verdict.PASS for v in self.verdicts.values())


def run_unattended(
    out: Path, *, seed: int = 1, cleaned: float = 1.0, identifier: str = "", data: Path | None = None
) -> DemoResult:
    """Work the demo job to its end and write its papers.

    Args:
        out: folder for the papers; made when it is not there.
        seed: which car of its kind.
        cleaned: share of the deposits that the work takes away; 0: the bore was not cleaned.
        identifier: typed from the manual instead of chosen from its table.
        data: data folder with key and journal; a fresh one that is thrown away when None.
    Raises: AsleftError: the job stopped and says why.
    """
    out.mkdir(parents=True, exist_ok=True)
    if data is not None:
        return run_virtual(lambda clock: _work(clock, out, data, seed, cleaned, identifier))
    with tempfile.TemporaryDirectory(prefix="asleft-demo-") as folder:
        return run_virtual(lambda clock: _work(clock, out, Path(folder), seed, cleaned, identifier))


async def _work(clock: LoopClock, out: Path, data: Path, seed: int, cleaned: float, identifier: str) -> DemoResult:
    bus = InLoopBus(clock)
    car = PetrolCar(seed=seed, cleaned=cleaned, warm=True)
    car.attach(bus, clock)
    try:
        driver = BenchDriver(LocalActs(car), clock, cleaned)
        person = ScriptedPerson(driver, clock, TECHNICIAN, script(identifier))
        request = JobRequest(
            folder=data,
            out=out,
            number=f"2031-{seed:04d}",
            order=demo_order(car.vin),
            modules=ALDRA,
            workshop=WORKSHOP,
            technician=TECHNICIAN,
            facts=settings_facts(),
            at_the_end=BEFORE_HAND_OVER,
        )
        head, events = await work_single(request, bus, clock, person)
    finally:
        car.detach()
    return DemoResult(out, head, fold(events), clock.now())


def script(identifier: str) -> dict[str, list[str]]:
    """Answers that differ from the first one offered."""
    by_hand = {"how is it done": ["by hand, coached"]}
    if not identifier:
        return by_hand
    return {
        **by_hand,
        "Routine identifier for this module": ["type it from the manual"],
        "Type the routine identifier": [identifier],
    }
