"""Jobs written by hand, event by event: a complete one, one that fails, a replay, an interrupted one, a hostile one.

Everything in them is invented: workshop, makes, people, numbers. Times and numbers are fixed, so that tests can name
them. Example::

    events = demo_job()
    stored = record_bytes(events)      # events.jsonl
    head = head_hash(events)           # what the report prints
"""

from __future__ import annotations

import hashlib
import random
from datetime import UTC, datetime, timedelta

from asleft.event import body as b
from asleft.event.envelope import FORMAT, NO_PREVIOUS, Event, event_hash, stored_bytes, type_of
from asleft.model.condition import Condition, ConditionKind, ConditionResult, ConditionState
from asleft.model.effect import Effect, Intent, Settle, Settlement
from asleft.model.fact import Fact, FactKey
from asleft.model.message import Message
from asleft.model.module import Item, ModuleAddress, ModulePicture, ModuleState, Picture, PictureKind, differences
from asleft.model.origin import ClockKind, Origin, WallTrust
from asleft.model.question import Answer, Question, QuestionKind
from asleft.model.reading import Absence, AbsenceKind, Evidence, Reading, Series, to_hex
from asleft.model.trouble import CodeKind, TroubleCode
from asleft.model.verdict import (
    Judgement,
    LimitOwner,
    Limits,
    Reason,
    Rule,
    RunEnd,
    StepOutcome,
    Verdict,
)
from asleft.model.vin import check_character, parse_vin
from asleft.model.work import Grade, Need, Plan, PlanStep, ScreenClass, ScreenedCode, Vehicle, WorkItem

RECEIVED, FOUND, LEFT = PictureKind.AS_RECEIVED, PictureKind.AS_FOUND, PictureKind.AS_LEFT
ENGINE = ModuleAddress("engine", 0x7E0, 0x7E8)
BRAKES = ModuleAddress("brakes", 0x7E2, 0x7EA)
CLUSTER = ModuleAddress("cluster", 0x7C0, 0x7C8)
P2176 = TroubleCode("P2176", "engine", CodeKind.STORED, None, 0x2F, "throttle idle position not learned")
RUN = "run-1"
PROCEDURE_TEXT = """\
id: throttle-stop-learn-by-routine
function: throttle-stop-learn
name: electronic throttle lower-stop learn
revision: 3
risk: 1
source:
  title: demo manual
  edition: edition 2
  page: 41 to 42
  kind: fictional
  entered-by: M. Okafor
  checked-by: L. Brandt
state: koeo
ways: {}
"""


def fictional_vin(serial: str = "16S000417") -> str:
    """A VIN with a valid check digit and a first part that no maker holds.  ``serial``: its last nine characters."""
    bare = "A0A" + "LDR16" + "0" + serial[-8:]
    return bare[:8] + check_character(bare) + bare[9:]


VIN = fictional_vin()


def say(id_: str, template: str, **values: str) -> Message:
    """A message."""
    return Message(id_, template, values)


class Job:
    """Appends events to a chain as the journal would, with invented times."""

    def __init__(
        self,
        number: str = "GSM-2031-0417",
        origin: Origin = Origin.BENCH,
        *,
        clock: ClockKind = ClockKind.VIRTUAL,
        trust: WallTrust = WallTrust.SIMULATED,
        start: datetime = datetime(2031, 4, 17, 8, 30, tzinfo=UTC),
    ) -> None:
        self.number, self.origin, self.clock, self.trust, self.start = number, origin, clock, trust, start
        self.now_s = 0.0
        self.events: list[Event] = []

    def add(self, *bodies: b.Body, after_s: float = 1.0, actor: str = "asleft") -> Job:
        """One event each, ``after_s`` seconds after the one before."""
        for body in bodies:
            self.now_s += after_s
            wall = (self.start + timedelta(seconds=self.now_s)).isoformat(timespec="milliseconds")
            previous = event_hash(stored_bytes(self.events[-1])) if self.events else NO_PREVIOUS
            self.events.append(
                Event(
                    format=FORMAT,
                    job=self.number,
                    sequence=len(self.events) + 1,
                    actor=actor,
                    wall=wall.replace("+00:00", "Z"),
                    wall_trust=self.trust,
                    monotonic_s=round(self.now_s, 3),
                    clock=self.clock,
                    origin=self.origin,
                    previous=previous,
                    body=body,
                )
            )
        return self

    def close(self, statement: str, *, released: bool = True, by: str = "M. Okafor") -> tuple[Event, ...]:
        """Append the closing event and return all."""
        counts: dict[str, int] = {}
        for event in self.events:
            counts[type_of(event.body)] = counts.get(type_of(event.body), 0) + 1
        message = say("job.statement", statement)
        return self.add(b.JobClosed(message, by, released, counts), actor=by).done()

    def done(self) -> tuple[Event, ...]:
        """All events so far."""
        return tuple(self.events)


def record_bytes(events: tuple[Event, ...]) -> bytes:
    """The bytes of ``events.jsonl``."""
    return b"".join(stored_bytes(e) + b"\n" for e in events)


def head_hash(events: tuple[Event, ...]) -> str:
    """Hash of the last event."""
    return event_hash(stored_bytes(events[-1]))


def fold_needs(events: tuple[Event, ...]) -> tuple[Need, ...]:
    """The needs that a job's events name."""
    return next(e.body.needs for e in events if isinstance(e.body, b.NeedsFound))


def opened(origin: Origin = Origin.BENCH, link: str = "in-loop bench bus") -> b.JobOpened:
    """A car comes in with a cleaned throttle body."""
    car = Vehicle(parse_vin(VIN), "Aldra", "1.6 petrol", 2026, 1.6)
    work = (WorkItem("throttle-body-cleaned", "throttle body removed, cleaned and refitted"),)
    return b.JobOpened("Gable Street Motors", car, work, origin, link, "asleft 0.1.0", "order 31-0417")


def picture(
    kind: PictureKind, at_s: float, stop: str, codes: tuple[TroubleCode, ...] = (), **readings: float
) -> Picture:
    """A picture of three modules; ``stop``: learned lower stop, %; ``readings``: signal_with_underscores=value."""
    identification = (
        Item("vin", "VIN", VIN),
        Item("part-number", "part number", "ALD-906-032"),
        Item("software-number", "software number", "SW 0031"),
        Item("serial-number", "serial number", "E4417-0093"),
        Item("calibration-id", "calibration identification", "ALD16-CAL-07"),
        Item("calibration-verification", "calibration verification number", "1791BC82"),
    )
    learned = Item(
        "learned-lower-stop", "learned lower stop", stop, to_hex(round(float(stop) * 2.55).to_bytes(2, "big")), "%"
    )
    engine = ModulePicture(ENGINE, True, identification, (), (learned,), codes)
    brakes = ModulePicture(
        BRAKES,
        True,
        (Item("part-number", "part number", "BRK-614-200"), Item("vin", "VIN", VIN)),
        (Item("coding", "coding", "01 4F 20", "014F20"),),
    )
    refused = Item("coding", "coding", absence=Absence(AbsenceKind.REFUSED, "", 0x33))
    unread = Absence(AbsenceKind.NOT_READ, "module silent")
    cluster = ModulePicture(CLUSTER, False, (), (refused,), codes_absence=unread)
    values = {"control_module_voltage": 12.6, "coolant_temperature": 84.0, "throttle_absolute": 14.9}
    values |= {"distance_with_lamp": 3.0, "warm_ups_since_clear": 2.0, "distance_since_clear": 41.0}
    values |= {"time_with_lamp": 5.0, "time_since_clear": 63.0, **readings}
    units = {"control_module_voltage": ("V", 0.03), "coolant_temperature": ("°C", 1.0), "engine_speed": ("rpm", 3.1)}
    units |= {"distance_with_lamp": ("km", 0.3), "distance_since_clear": ("km", 0.3)}
    units |= {"warm_ups_since_clear": ("count", 0.0), "time_with_lamp": ("min", 0.3), "time_since_clear": ("min", 0.3)}
    taken = tuple(
        Reading(s.replace("_", "-"), v, *units.get(s, ("%", 0.2)), time_s=at_s, origin=Origin.BENCH, raw="410C0BB8")
        for s, v in values.items()
    )
    notes = (
        Item("engine.readiness.misfire", "engine: monitor misfire", "complete", "00076565"),
        Item("engine.readiness.catalyst", "engine: monitor catalyst", "incomplete", "00076565"),
        Item("engine.freeze-frame", "engine: freeze frame", "P2176 at 0 rpm, 84 °C"),
    )
    return Picture(kind, at_s, at_s + 4.2, (engine, brakes, cluster), taken, notes)


CONDITIONS = (
    Condition(
        "engine-off",
        "engine stands still",
        ConditionKind.AT_MOST,
        "engine-speed",
        high=0.0,
        unit="rpm",
        hold_s=2.0,
        printed="0 rpm",
        source="demo manual, edition 2, page 41",
    ),
    Condition(
        "supply",
        "supply steady",
        ConditionKind.WITHIN,
        "control-module-voltage",
        12.0,
        15.0,
        unit="V",
        hold_s=5.0,
        printed="12 to 15 V",
        source="demo manual, edition 2, page 41",
    ),
    Condition(
        "ready-off",
        "ready off, automatic start disabled",
        ConditionKind.DECLARED,
        source="common practice, no source",
    ),
    Condition(
        "intake-air",
        "intake air temperature",
        ConditionKind.WITHIN,
        "intake-air-temperature",
        5.0,
        60.0,
        unit="°C",
        source="demo manual, edition 2, page 41",
        waivable=True,
    ),
)


def condition_results(at_s: float) -> tuple[ConditionResult, ...]:
    """All met, one of them declared."""
    met = ConditionState.MET
    return (
        ConditionResult("engine-off", met, at_s, 0.0, "rpm", 0.0, 6.0),
        ConditionResult("supply", met, at_s, 12.63, "V", 0.63, 6.0),
        ConditionResult("ready-off", met, at_s, evidence=Evidence.DECLARED),
        ConditionResult(
            "intake-air",
            ConditionState.NOT_KNOWN,
            at_s,
            reason=say("condition.unsupported", "this car does not give {signal}", signal="intake air temperature"),
        ),
    )


def rest_series(seed: int = 1, spread: float = 0.2) -> tuple[Series, ...]:
    """Rest readings of the throttle over five key cycles, 8-bit steps of 100/255 %."""
    numbers = random.Random(seed)
    step = 100.0 / 255.0
    times = tuple(round(300.0 + 0.25 * i, 3) for i in range(60))
    values = tuple(round((14.1 + numbers.gauss(0.0, spread)) / step) * step for _ in times)
    return (Series("throttle-absolute", "%", times, values, step, 0.5),)


OURS = Limits(None, 1.2, "%", LimitOwner.OURS, source="common practice, no source")
SLOPE = Limits(0.95, 1.05, "1", LimitOwner.OURS, source="common practice, no source")


def proof(*, passes: bool = True) -> tuple[Judgement, ...]:
    """Four criteria: range, slope, residuals, code; one reported only."""
    verdict = Verdict.PASS if passes else Verdict.FAIL
    value = 0.39 if passes else 2.75
    words = "The rest reading came back within {value} % over 5 key cycles; our limit is 1.2 %."
    return (
        Judgement(
            "rest-range",
            "range of the rest reading, 5 key cycles",
            verdict,
            OURS,
            Rule.GUARDED,
            value,
            0.16,
            0.0002 if passes else 0.9999,
            60,
            5.0,
            (300.0, 315.0),
            ("rest/throttle-absolute",),
            sentence=say("proof.rest-range", words, value=f"{value:.2f}"),
        ),
        Judgement(
            "tracking-slope",
            "slope of actual on commanded throttle",
            Verdict.PASS,
            SLOPE,
            Rule.GUARDED,
            1.008,
            0.009,
            0.00001,
            240,
            61.0,
            (320.0, 350.0),
            ("sweep/throttle-absolute", "sweep/throttle-commanded"),
            sentence=say("proof.slope", "The plate follows its command."),
        ),
        Judgement(
            "total-area",
            "total effective flow area",
            Verdict.PASS,
            Limits(None, None, "mm²", LimitOwner.OURS),
            Rule.REPORT_ONLY,
            11.02,
            0.31,
            None,
            120,
            40.0,
        ),
        Judgement(
            "code-gone",
            "P2176 gone and not back",
            Verdict.PASS,
            Limits(None, 0.0, "count", LimitOwner.PRINTED, "no code", "demo manual, edition 2, page 42"),
            Rule.SIMPLE,
            0.0,
            0.0,
            None,
            1,
            1.0,
        ),
    )


CHANGED_BY_LEARN = "the lower stop is what the procedure learns"


def started(run: str = RUN, way: str = "by-wire") -> b.RunStarted:
    """The one procedure begins."""
    digest = hashlib.sha256(PROCEDURE_TEXT.encode()).hexdigest()
    name = "electronic throttle lower-stop learn"
    procedure = "throttle-stop-learn-by-routine"
    return b.RunStarted(run, "throttle-stop-learn", procedure, name, way, PROCEDURE_TEXT, digest, CONDITIONS)


def learn_intent(run: str = RUN, id_: str = "intent-1", repeat_of: str = "") -> Intent:
    """Start of the learn routine."""
    why = "throttle-stop-learn-by-routine, step start"
    serial, print_ = "E4417-0093", "5d" * 32
    return Intent(id_, run, Effect.ACTUATES, ENGINE, serial, print_, "31010203", why, Settle.ROUTINE_RESULT, repeat_of)


def clear_intent() -> Intent:
    """The planned clear."""
    return Intent(
        "intent-2",
        RUN,
        Effect.CLEARS,
        ENGINE,
        "E4417-0093",
        "5d" * 32,
        "14FFFFFF",
        "planned clear",
        Settle.CODES_READ_AGAIN,
    )


def up_to_plan(job: Job) -> Job:
    """Opened, received, worked on, found, screened, needed, planned."""
    code = say("screen.expected", "{code} is set by taking the throttle body off", code="P2176")
    screened = ScreenedCode(P2176, "throttle-stop-learn", ScreenClass.EXPECTED, (FOUND,), code)
    because = (
        say("need.work", "the throttle body was off the car"),
        say("need.lost", "the learned lower stop no longer fits the plate"),
    )
    needs = (
        Need(
            "throttle-stop-learn",
            "electronic throttle lower-stop learn",
            Grade.REQUIRED,
            because,
            "throttle-stop-learn-by-routine",
        ),
        Need("idle-relearn", "idle relearn", Grade.REQUIRED, because[:1]),
    )
    steps = (
        PlanStep(
            "throttle-stop-learn",
            "electronic throttle lower-stop learn",
            "key on, engine off",
            2.0,
            5.0,
            7.0,
            say("plan.first", "needs the engine off and comes before the idle relearn"),
            "throttle-stop-learn-by-routine",
        ),
        PlanStep(
            "planned-clear", "the planned clear", "key on, engine off", 0.0, 1.0, 1.0, say("plan.clear", "one clear")
        ),
        PlanStep(
            "key-cycles", "key cycles", "key off", 1.0, 2.0, 5.0, say("plan.cycles", "shows that codes stay away")
        ),
        PlanStep("as-left", "as-left picture", "key on, engine off", 0.0, 1.0, 1.0, say("plan.left", "last")),
    )
    received = picture(RECEIVED, 2.0, "14.9", engine_speed=744.0)
    found = picture(FOUND, 1800.0, "14.9", (P2176,), engine_speed=1011.0)
    job.add(opened(job.origin), actor="M. Okafor")
    job.add(b.PictureTaken(received), after_s=6.0)
    job.add(b.PictureTaken(found), after_s=1800.0)
    job.add(b.DifferencesFound(RECEIVED, FOUND, differences(received, found)))
    job.add(b.CodesScreened("throttle-stop-learn", (screened,)))
    return job.add(b.NeedsFound(needs), b.PlanMade(Plan(steps, 9.0, 14.0, 12.0, True)))


def up_to_effect(job: Job) -> Job:
    """Gate, question, identifier, intent."""
    caution = say("caution.plate", "The plate moves by itself and snaps shut: fingers and tools out of the bore.")
    ask = say("ask.bore", "Nobody near the throttle bore?")
    act = say("step.start", "start the learn routine of the engine module")
    question = Question("q-1", QuestionKind.EFFECT, ask, ("hold to start",), (caution,), "", ("31 01 02 03",))
    row = say("identifier.row", "demo manual, edition 2, page 42, line 3")
    job.add(started(), actor="M. Okafor")
    job.add(
        b.IdentifierChosen(RUN, 0x0203, "typed from the manual by M. Okafor", "0x0203", "31010203", row),
        actor="M. Okafor",
    )
    job.add(b.ConditionsSeen(RUN, condition_results(job.now_s), "open"), after_s=6.0)
    job.add(b.ConditionWaived(RUN, "intake-air", "M. Okafor", "workshop at 21 °C by thermometer"), actor="M. Okafor")
    job.add(b.QuestionAsked(RUN, question))
    job.add(b.QuestionAnswered(RUN, Answer("q-1", "hold to start", "M. Okafor")), actor="M. Okafor")
    return job.add(b.StepStarted(RUN, "start", act), b.IntentWritten(learn_intent()))


def up_to_proof(job: Job, judgements: tuple[Judgement, ...]) -> Job:
    """Answered, settled, clear, key cycles, samples, judged."""
    taken = say("effect.answered", "the module took it")
    stored = say("module.stored", "the module says that it stored the lower stop")
    result = say("effect.settled", "the routine's result says completed")
    job.add(b.EffectAnswered("intent-1", "71010203", None, taken), after_s=0.1)
    job.add(b.StepStopped(RUN, "start", StepOutcome.DONE, 0.1, taken), after_s=0.1)
    job.add(b.ModuleTold(RUN, "engine", ModuleState.MOVING, say("module.moving", "the plate moves")))
    job.add(b.ModuleTold(RUN, "engine", ModuleState.STORED, stored), after_s=3.0)
    job.add(b.EffectSettled("intent-1", Settlement.DONE, result), b.IntentWritten(clear_intent()))
    job.add(b.EffectAnswered("intent-2", "54", None, say("effect.cleared", "cleared")))
    job.add(b.EffectSettled("intent-2", Settlement.DONE, say("effect.read", "no code is left")))
    job.add(b.CodesCleared(RUN, ("engine", "brakes"), (P2176,), (), "planned clear after the stationary learns"))
    cycles = say("step.cycles", "five key cycles, rest reading each time")
    job.add(b.StepStarted(RUN, "cycles", cycles)).add(b.SamplesTaken(RUN, "rest", rest_series()), after_s=60.0)
    job.add(b.StepStopped(RUN, "cycles", StepOutcome.DONE, 61.0, say("step.done", "done")))
    return job.add(*(b.CriterionJudged(RUN, j) for j in judgements))


def as_left(job: Job) -> Job:
    """The last picture and what changed."""
    found = next(
        e.body.picture for e in job.events if isinstance(e.body, b.PictureTaken) and e.body.picture.kind is FOUND
    )
    left = picture(LEFT, round(job.now_s, 1), "14.1", engine_speed=752.0)
    changed = tuple(
        d if not (d.key == "learned-lower-stop" or d.key.startswith("code:")) else _intended(d)
        for d in differences(found, left)
    )
    job.add(b.PictureTaken(left), after_s=6.0)
    return job.add(b.DifferencesFound(FOUND, LEFT, changed))


def _intended(d: object) -> object:
    import msgspec

    return msgspec.structs.replace(d, intended=True)  # pyright: ignore[reportArgumentType, reportCallIssue]


def demo_job(origin: Origin = Origin.BENCH) -> tuple[Event, ...]:
    """A whole job that passes; the idle relearn stays open because the book has no procedure for it."""
    real = origin is Origin.VEHICLE
    clock = ClockKind.REAL if real else ClockKind.VIRTUAL
    job = Job(origin=origin, clock=clock, trust=WallTrust.SYSTEM if real else WallTrust.SIMULATED)
    up_to_proof(up_to_effect(up_to_plan(job)), proof())
    passed = say("run.passed", "The learned stop is proved by its consequences.")
    job.add(b.RunEnded(RUN, RunEnd.COMPLETED, Verdict.PASS, passed))
    as_left(job)
    job.add(
        b.ItemLeftOpen(
            "idle-relearn", say("open.no-procedure", "idle relearn is needed; the book has no procedure yet")
        )
    )
    job.add(b.Noted(say("note.cold", "first start tomorrow morning: look at the idle")))
    return job.close("The functions listed were performed and judged as shown.")


def fail_job() -> tuple[Event, ...]:
    """The bore was not clean: the rest reading does not come back."""
    job = up_to_proof(up_to_effect(up_to_plan(Job("GSM-2031-0418"))), proof(passes=False))
    failed = say("run.failed", "The plate does not come back to its rest: look for deposits in the bore.")
    job.add(b.RunEnded(RUN, RunEnd.COMPLETED, Verdict.FAIL, failed))
    as_left(job)
    return job.close("The functions listed were performed and judged as shown.", released=False)


def replay_job() -> tuple[Event, ...]:
    """A recording that does not suffice: few events, CANNOT TELL."""
    job = Job("GSM-2031-0419", Origin.REPLAY, clock=ClockKind.RECORDING, trust=WallTrust.RECORDED)
    limits = Limits(700.0, 800.0, "rpm", LimitOwner.PRINTED, "750 ± 50 rpm", "demo manual, edition 2, page 40")
    judged = Judgement(
        "idle-mean",
        "mean idle speed",
        Verdict.CANNOT_TELL,
        limits,
        Rule.SIMPLE,
        reasons=(Reason.TOO_FEW, Reason.WINDOW),
        n=11,
        n_eff=4.2,
        sentence=say("proof.idle", "11 samples in the only steady window are worth 4.2 independent ones."),
        settles=say("settle.idle", "thirty seconds of warm idle at four readings a second"),
    )
    run = b.RunStarted("run-1", "idle-proof", "idle-proof", "idle proof", "recording", "id: idle-proof\n", "ab" * 32)
    body = opened(Origin.REPLAY, "replay of bench-idle.csv")
    job.add(body).add(b.PictureTaken(Picture(RECEIVED, 0.0, 0.0, not_taken="a recording has no modules to ask")))
    job.add(b.PictureTaken(Picture(FOUND, 0.0, 0.0, not_taken="a recording has no modules to ask")))
    job.add(run, b.SamplesTaken("run-1", "idle", rest_series(5)), b.CriterionJudged("run-1", judged))
    few = say("run.cannot-tell", "The recording is too short to tell.")
    return job.add(b.RunEnded("run-1", RunEnd.COMPLETED, Verdict.CANNOT_TELL, few)).close(
        "The recording was judged as shown."
    )


def interrupted_job() -> tuple[Event, ...]:
    """The link is lost right after the effect was sent: nobody knows, the job is not closed."""
    job = up_to_effect(up_to_plan(Job("GSM-2031-0420", Origin.VEHICLE, clock=ClockKind.REAL, trust=WallTrust.SYSTEM)))
    silent = say("effect.silent", "nothing was heard")
    job.add(b.EffectAnswered("intent-1", "", None, silent), after_s=5.0)
    job.add(b.StepStopped(RUN, "start", StepOutcome.FAILED, 5.1, silent))
    lost = say("stop.link", "the link to the car was lost")
    return job.add(b.JobStopped("link-lost", lost)).done()


def facts() -> tuple[Fact, ...]:
    """One fact of every key, two where there may be more."""
    photo = hashlib.sha256(b"photo").hexdigest()
    k, measured, document, observed = FactKey, Evidence.MEASURED, Evidence.DOCUMENT, Evidence.OBSERVED
    return (
        Fact(k.WORKSHOP_ADDRESS, "4 Gable Street"),
        Fact(k.WORKSHOP_LICENCE, "licence 0031"),
        Fact(k.CUSTOMER, "customer 117"),
        Fact(k.AMENDS, "none"),
        Fact(k.PREVIOUS_RECORD, "GSM-2030-0099, head " + "0c" * 32),
        Fact(k.PLATE, "GS 417", source="plate"),
        Fact(k.ODOMETER_IN, "84112", "km", observed, "cluster display"),
        Fact(k.ODOMETER_OUT, "84119", "km", measured, "PID A6"),
        Fact(k.PROPULSION, "petrol"),
        Fact(k.VARIANT, "five doors"),
        Fact(k.TYRES, "195/65 R15, 2.3 bar all round", evidence=measured),
        Fact(k.COMPLAINT, "idle goes up and down"),
        Fact(k.WORK_BY, "this workshop, M. Okafor"),
        Fact(k.PART_FITTED, "gasket ALD-11-204", evidence=document, source="delivery note", digest=photo),
        Fact(k.DECLINED, "idle relearn declined by the customer"),
        Fact(k.MODULE_REPORT, "listing of another tester", evidence=document, digest=photo),
        Fact(k.OTHER_TESTER, "a hand tester, software level 12.4"),
        Fact(k.INTERFACE, "CAN interface, serial 99-0412"),
        Fact(k.INTERFACE_FIRMWARE, "2.1"),
        Fact(k.INTERFACE_CHECKED, "2031-04-02, loop-back passed", evidence=measured),
        Fact(k.PROGRAM_DIGEST, "5e" * 32),
        Fact(k.GAUGE, "pressure gauge 7, due 2031-09"),
        Fact(k.CLOCK_ERROR, "0.4", "s", measured, "network time"),
        Fact(k.ROAD_DRIVER, "M. Okafor"),
        Fact(k.ROAD_OBSERVER, "L. Brandt"),
        Fact(k.ROAD_TIMES, "10:50 to 11:14 UTC"),
        Fact(k.ROAD_DISTANCE, "7", "km", measured, "PID A6"),
        Fact(k.ROAD_SPEEDS, "0 to 50 km/h: 70 %", evidence=measured),
        Fact(k.ROAD_SPEEDS, "50 to 80 km/h: 30 %", evidence=measured),
        Fact(k.ROAD_AMBIENT, "14", "°C", measured),
        Fact(k.ROAD_SURFACE, "dry asphalt, light wind", evidence=observed),
        Fact(k.ROAD_MONITORS, "misfire, fuel system"),
        Fact(k.ROAD_CODES, "none", evidence=measured),
        Fact(k.ROAD_REMARKS, "pulls away cleanly", evidence=observed),
        Fact(k.ADVISORY, "air filter dirty", evidence=observed),
        Fact(k.FOLLOW_UP, "look at the cold start tomorrow"),
        Fact(k.SECOND_PERSON, "L. Brandt, delayed self-check"),
        Fact(k.APPROVER, "L. Brandt"),
        Fact(k.ACKNOWLEDGED, "signed at the counter", evidence=document, digest=photo),
    )


def full_job() -> tuple[Event, ...]:
    """The demo job with every fact, a refusal, a repeat, an interlock that was lost, and a CANNOT TELL."""
    job = up_to_plan(Job("GSM-2031-0421"))
    job.add(*(b.FactStated(f) for f in facts()), actor="M. Okafor")
    up_to_effect(job)
    refused = say("effect.refused", "{why}", why="engine running, NRC 22")
    job.add(b.EffectAnswered("intent-1", "7F3122", 0x22, refused))
    job.add(b.EffectSettled("intent-1", Settlement.NOT_DONE, refused))
    job.add(b.IntentWritten(learn_intent(id_="intent-1r", repeat_of="intent-1")))
    job.add(b.EffectAnswered("intent-1r", "71010203", None, say("effect.answered", "the module took it")))
    job.add(b.EffectSettled("intent-1r", Settlement.DONE, say("effect.stored", "the module says stored")))
    lost = ConditionResult(
        "supply", ConditionState.NOT_MET, job.now_s, 11.4, "V", -0.6, reason=say("x", "supply sagged")
    )
    job.add(b.ConditionsSeen(RUN, (lost,), "watched"))
    job.add(b.ModuleTold(RUN, "engine", ModuleState.MOVING, say("module.moving", "the plate moves")))
    job.add(b.ModuleTold(RUN, "engine", ModuleState.STORED, say("module.stored", "the module says stored")))
    ask = Question("q-2", QuestionKind.EFFECT, say("clear.confirm", "Clear the trouble codes?"), ("clear",))
    job.add(b.QuestionAsked(RUN, ask), b.QuestionAnswered(RUN, Answer("q-2", "clear", "M. Okafor")))
    job.add(b.CodesCleared(RUN, ("engine", "brakes"), (P2176,), (), "planned clear after the stationary learns"))
    job.add(b.StepStarted(RUN, "cycles", say("step.cycles", "five key cycles")))
    job.add(b.SamplesTaken(RUN, "rest", rest_series()), after_s=60.0)
    job.add(b.StepStopped(RUN, "cycles", StepOutcome.DONE, 61.0, say("step.done", "done")))
    unknown = Judgement(
        "rest-temperature",
        "rest reading when warm",
        Verdict.CANNOT_TELL,
        OURS,
        Rule.GUARDED,
        reasons=(Reason.TOO_FEW,),
        settles=say("settle.warm", "five more key cycles with a warm engine"),
    )
    job.add(*(b.CriterionJudged(RUN, j) for j in (*proof(), unknown)))
    told = say("run.cannot-tell", "One criterion cannot be judged.")
    job.add(b.RunEnded(RUN, RunEnd.COMPLETED, Verdict.CANNOT_TELL, told))
    as_left(job)
    return job.close("The functions listed were performed and judged as shown.")


def hostile_job(nasty: str) -> tuple[Event, ...]:
    """A short job in which every free text is ``nasty``."""
    job = Job("GSM-2031-0666")
    car = Vehicle(parse_vin(VIN), nasty, nasty)
    job.add(b.JobOpened(nasty, car, (WorkItem("x", nasty),), Origin.BENCH, nasty, nasty, nasty), actor=nasty)
    engine = ModulePicture(ENGINE, True, (Item("part-number", nasty, nasty),), (), (Item("l", nasty, nasty),))
    job.add(b.PictureTaken(Picture(RECEIVED, 0.0, 1.0, (engine,))))
    job.add(b.PictureTaken(Picture(FOUND, 0.0, 0.0, not_taken=nasty)))
    job.add(b.NeedsFound((Need("x", nasty, Grade.REQUIRED, (say("x", "{x}", x=nasty),), nasty),)))
    job.add(b.RunStarted(RUN, "y", nasty, nasty, nasty, nasty, nasty, CONDITIONS))
    job.add(b.IdentifierChosen(RUN, 0x203, nasty, nasty, "31010203", say("x", nasty)))
    limits = Limits(None, 1.2, "%", LimitOwner.PRINTED, nasty, nasty)
    judged = Judgement("c", nasty, Verdict.FAIL, limits, Rule.SIMPLE, 3.0, 0.1, 0.9, 5, 5.0, sentence=say("x", nasty))
    job.add(b.CriterionJudged(RUN, judged), b.RunEnded(RUN, RunEnd.COMPLETED, Verdict.FAIL, say("x", nasty)))
    job.add(b.FactStated(Fact(FactKey.PART_FITTED, nasty, nasty, source=nasty)))
    job.add(b.ItemLeftOpen(nasty, say("x", nasty)), b.Noted(say("x", nasty)), b.JobStopped(nasty, say("x", nasty)))
    return job.close(nasty, by=nasty)
