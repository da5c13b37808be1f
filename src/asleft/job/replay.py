"""A recording through the same line: as found with what it gives, conditions over time, an idle proof, a signed record.

Nothing can be asked of the car any more; what the recording does not hold is CANNOT_TELL with its reason. The origin is
*replay*, because the recording made the link.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import msgspec

from asleft import __version__
from asleft.event import body as b
from asleft.event.envelope import Event
from asleft.event.fold import fold
from asleft.live.recordings import Recording, ReplaySignals, load_map, read_recording
from asleft.model.condition import Condition, ConditionKind, ConditionState
from asleft.model.message import Message, say
from asleft.model.module import Item, Picture, PictureKind
from asleft.model.origin import Origin
from asleft.model.reading import Series
from asleft.model.verdict import RunEnd, Verdict
from asleft.model.vin import NO_VIN
from asleft.model.work import Vehicle
from asleft.ports.clock import Clock
from asleft.proof.criterion_data import Criterion, IdleMean, IdleSpread, LimitData, TrimSum
from asleft.record.journal import JobJournal, open_journal
from asleft.run.gate import Gate
from asleft.run.log import RunLog, RunPorts
from asleft.run.proving import PROOF, judge_samples, whole_of

from .keyring import load_key
from .papers import write_papers
from .silent import Nobody, NoConversation

RUN = "idle-proof"
SAVED = "recording"
_OURS = "common practice, no source"

#: How often the conditions are looked at, s of the recording.
_LOOK_S = 1.0

#: What an idle that may be judged needs. Starting values; common practice, no source.
CONDITIONS: tuple[Condition, ...] = (
    Condition(
        id="running",
        text="engine running",
        kind=ConditionKind.AT_LEAST,
        signal="engine-speed",
        low=400.0,
        unit="rpm",
        hold_s=5.0,
        max_age_s=5.0,
        source=_OURS,
    ),
    Condition(
        id="warm",
        text="coolant warm",
        kind=ConditionKind.WITHIN,
        signal="coolant-temperature",
        low=80.0,
        high=105.0,
        unit="°C",
        max_age_s=10.0,
        source=_OURS,
    ),
    Condition(
        id="standing",
        text="car standing",
        kind=ConditionKind.AT_MOST,
        signal="vehicle-speed",
        high=0.0,
        unit="km/h",
        hold_s=3.0,
        max_age_s=5.0,
        source=_OURS,
    ),
    Condition(
        id="supply",
        text="supply with the engine running",
        kind=ConditionKind.WITHIN,
        signal="control-module-voltage",
        low=13.0,
        high=15.0,
        unit="V",
        max_age_s=10.0,
        source=_OURS,
    ),
)


@dataclass(frozen=True)
class ReplayRequest:
    """What to replay.

    Attributes:
        file: the recording. column_map: its map; None: one that fits is looked for.
        folder: data folder with key and journal. out: folder for the papers.
        number: job's number. target_rpm, tolerance_rpm: the manual's idle speed, if somebody has it.
        workshop: name that stands on the report.
    """

    file: Path
    folder: Path
    out: Path
    number: str
    column_map: Path | None = None
    target_rpm: float | None = None
    tolerance_rpm: float = 50.0
    workshop: str = "asleft replay"


def criteria(target_rpm: float | None, tolerance_rpm: float) -> tuple[Criterion, ...]:
    """The idle proof: mean against the target where it is known, spread and trims against limits of our own."""
    if target_rpm is None:
        mean = LimitData("rpm", "ours", source="target unknown: reported, not judged")
    else:
        low, high = target_rpm - tolerance_rpm, target_rpm + tolerance_rpm
        printed = f"{target_rpm:g} ± {tolerance_rpm:g} rpm"
        mean = LimitData("rpm", "printed", low, high, printed, "given with the replay")
    spread = LimitData("rpm", "ours", high=15.0, source=_OURS)
    trims = LimitData("%", "ours", -10.0, 10.0, source=_OURS)
    return (
        IdleMean("idle-mean", "Mean idle speed", SAVED, mean),
        IdleSpread("idle-spread", "Spread of idle speed (standard deviation)", SAVED, spread),
        TrimSum("trim-sum", "Sum of fuel trims at idle", SAVED, trims),
    )


class ReplayLink:
    """Where a replayed job's data come from: it says replay of itself, and nothing can be sent."""

    def __init__(self, recording: Recording) -> None:
        self.name = f"recording {recording.name}"

    @property
    def origin(self) -> Origin:
        """Always replay."""
        return Origin.REPLAY


async def replay_job(request: ReplayRequest, clock: Clock) -> tuple[str, tuple[Event, ...]]:
    """Replay a recording into a signed record and its report.

    Returns: head hash and all events.
    Raises: InputError: recording-unreadable, column-map-bad. RecordError.
    """
    column_map = load_map(request.column_map) if request.column_map else None
    recording = read_recording(request.file, column_map)
    link = ReplayLink(recording)
    request.out.mkdir(parents=True, exist_ok=True)
    with open_journal(request.folder, key=load_key(request.folder)) as journals:
        journal = journals.create(request.number, source=link, clock=clock)
        await _work(request, recording, journal, clock, link.name)
        head = write_papers(request.folder, journal, request.out)
        return head, journal.events()


async def _work(request: ReplayRequest, recording: Recording, journal: JobJournal, clock: Clock, name: str) -> None:
    opened = b.JobOpened(
        request.workshop, Vehicle(NO_VIN), (), Origin.REPLAY, name, f"asleft {__version__}", "replay of a recording"
    )
    journal.append(opened)
    signals = ReplaySignals(recording, clock)
    now = clock.now()
    journal.append(b.PictureTaken(Picture(PictureKind.AS_RECEIVED, now, now, not_taken="a recording has none")))
    journal.append(b.PictureTaken(await _as_found(recording, signals, clock)))
    for note in recording.notes:
        journal.append(b.Noted(note))
    log = RunLog(RunPorts(journal, NoConversation(), signals, Nobody(), clock), RUN)
    await _idle_proof(log, request, recording, signals)
    item = "cold-start"
    journal.append(
        b.ItemLeftOpen(item, say("open.replay", "what a recording cannot show: codes, modules, the cold start"))
    )
    state = fold(journal.events())
    statement = say("statement.replay", "A recording was judged as shown; nothing was done to a car.")
    journal.append(b.JobClosed(statement, "", released=False, counts=dict(state.counts)))


async def _as_found(recording: Recording, signals: ReplaySignals, clock: Clock) -> Picture:
    """What the recording gives of the car's state: its key-on rows, else its first values."""
    readings = signals.key_on_readings() or await signals.read(tuple(recording.signals))
    notes = (
        Item("recording", "recording", recording.name),
        Item("recording-digest", "its SHA-256", recording.digest),
        Item("recording-map", "column map", recording.map_name),
        Item("key-on-rows", "key on, engine off", str(recording.key_on_rows), unit="rows"),
        Item("gaps", "gaps", str(len(recording.gaps))),
        Item("length", "length", f"{recording.stop_s - recording.start_s:.0f}", unit="s"),
    )
    return Picture(PictureKind.AS_FOUND, clock.now(), clock.now(), readings=readings, notes=notes)


async def _idle_proof(log: RunLog, request: ReplayRequest, recording: Recording, signals: ReplaySignals) -> None:
    title = "Idle proof on a recording"
    log.write(b.RunStarted(RUN, "idle-relearn", "idle-proof", title, "replay", "", "", CONDITIONS))
    held_s = await _conditions_over_time(log, signals)
    with log.step("samples", say("step.samples", "keep what was recorded")):
        log.samples(SAVED, _kept(recording, log.ports.clock.now() - recording.stop_s))
    asked = criteria(request.target_rpm, request.tolerance_rpm)
    with log.step(PROOF, say("step.proof", "judge what was recorded")) as end:
        samples = {e.body.name: e.body.series for e in log.ports.journal.events() if isinstance(e.body, b.SamplesTaken)}
        judgements = judge_samples(asked, samples)
        for judgement in judgements:
            log.write(b.CriterionJudged(RUN, judgement))
        end.message = say("replay.held", "all conditions held for {s} s of the recording", s=f"{held_s:.0f}")
    verdict, message = whole_of(judgements)
    log.write(b.RunEnded(RUN, RunEnd.COMPLETED, verdict or Verdict.CANNOT_TELL, message))


async def _conditions_over_time(log: RunLog, signals: ReplaySignals) -> float:
    """Follow the conditions to the recording's end. Returns: how long all of them held together, s."""
    gate, held_s = Gate(log, CONDITIONS), 0.0
    clock = log.ports.clock
    with log.step("entry-conditions", say("step.conditions", "entry conditions over the recording")) as end:
        while signals.remaining_s > 0.0:
            results = await gate.look()
            met = all(r.state is ConditionState.MET for r in results)
            gate.note(results, "open" if met else "closed")
            held_s += _LOOK_S if met else 0.0
            await clock.sleep_until(clock.now() + min(_LOOK_S, max(signals.remaining_s, 1e-3)))
        end.message = _held(held_s)
    return held_s


def _held(held_s: float) -> Message:
    if held_s == 0.0:
        return say("replay.never", "the conditions never held all together")
    return say("replay.held-together", "held all together for {s} s", s=f"{held_s:.0f}")


def _kept(recording: Recording, shift_s: float) -> tuple[Series, ...]:
    """The series that criteria and conditions use, on the job's clock."""
    wanted = {c.signal for c in CONDITIONS} | {
        "engine-load",
        "short-term-trim-1",
        "long-term-trim-1",
        "throttle-absolute",
    }
    return tuple(
        msgspec.structs.replace(s, times_s=tuple(round(t + shift_s, 4) for t in s.times_s))
        for name, s in recording.signals.items()
        if name in wanted and len(s)
    )
