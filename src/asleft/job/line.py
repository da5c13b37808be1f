"""The stages of a job in order, from the open order to the closed record.

Where a job stands is read from its events, so a job that stopped goes on where it was: a stage whose events are there
is not done again. Nothing here sends anything to a car but through ``run``.
"""

from __future__ import annotations

import asyncio

from asleft import __version__
from asleft.book.loader import LoadedProcedure
from asleft.book.procedure import Way
from asleft.book.trust import Trust
from asleft.event import body as b
from asleft.event.fold import JobState, RunState, fold
from asleft.model.errors import AsleftError, Code, InputError, RunError
from asleft.model.message import Message, say
from asleft.model.module import ModuleAddress, ModulePicture, Picture, PictureKind, differences
from asleft.model.question import Question, QuestionKind
from asleft.model.verdict import RunEnd, StepOutcome, Verdict
from asleft.model.work import Grade, PlanStep, ScreenClass, ScreenedCode
from asleft.ports.journal import Journal
from asleft.ports.signals import Signals
from asleft.proof.codes import CodesSeen
from asleft.run.asking import STOP, ask, ask_choice, confirm
from asleft.run.engine import Run, RunRequest
from asleft.run.log import RunLog, RunPorts
from asleft.run.monitors import remaining_in
from asleft.run.proving import PROOF, conclude
from asleft.run.recover import settle_open_effects
from asleft.talk.pictures import AsksEverybody, take_module_picture, take_picture

from . import planning
from .book_trust import known_trust, refusal
from .desk import Desk, Order

#: From key on until every module may be expected to answer, s. Common practice, no source.
WAKE_S = 3.0
#: Above this an engine runs, 1/min. Common practice, no source.
RUNNING_RPM = 400.0
NOT_TAKEN = "not taken: the work has begun"
LEAVE_OPEN = "leave it open"
AGAIN = "try again"

_WAYS = {
    Way.BY_WIRE: "by wire, from here",
    Way.BESIDE: "beside another tester",
    Way.BY_HAND: "by hand, coached",
}
#: State of a procedure -> what to do to the car first, and a bench driver's act for it.
_STATES: dict[str, tuple[str, str]] = {
    "warm-idle": ("start the engine and let it idle warm, in park or neutral, parking brake on", "warm-idle"),
    "koeo": ("engine off, key on", "koeo"),
}
_CAUTIONS: dict[str, tuple[str, ...]] = {
    "warm-idle": (
        "The engine runs: parking brake on, exhaust extraction on, hands and clothes away from belts and fan.",
    ),
}


class JobLine:
    """One job worked through.

    Args:
        desk: what it is worked with.
        journal: its record.
        conversation, signals: on the desk's link, with receipts of this journal.
    """

    def __init__(self, desk: Desk, journal: Journal, conversation: AsksEverybody, signals: Signals) -> None:
        self._desk = desk
        self._journal = journal
        self._conversation = conversation
        self._signals = signals
        self._ports = ports_of(desk, journal, conversation, signals)
        self._log = RunLog(self._ports, "job")
        self._reasons: dict[str, str] = {}
        self._state = JobState()

    @property
    def state(self) -> JobState:
        """The job as its events say."""
        new = [e for e in self._journal.events() if e.sequence > self._state.sequence]
        self._state = fold(new, self._state)
        return self._state

    async def work(self, order: Order) -> None:
        """All stages, from wherever the job stands.

        Raises: AsleftError: the job stopped and says why; it can go on later. CancelledError: interrupted.
        """
        try:
            await self._stages(order)
        except asyncio.CancelledError:
            message = say("job.interrupted", "interrupted from outside; it goes on where it stands")
            self._journal.append(b.JobStopped("interrupted", message))
            raise
        except AsleftError as error:
            await self._conversation.close_sessions()
            self._journal.append(b.JobStopped(error.code.value, say("job.stopped", "{why}", why=error.sentence())))
            raise

    async def _stages(self, order: Order) -> None:
        if self.state.opened is None:
            self._open(order)
        self._note()
        await self._recover()
        await self._as_received()
        await self._work_done()
        await self._as_found()
        self._plan()
        await self._screen()
        await self._procedures()
        await self._close_down()
        self._close(self._codes_seen())

    # -- the stages --------------------------------------------------------------------------------------------------

    def _open(self, order: Order) -> None:
        desk = self._desk
        self._journal.append(
            b.JobOpened(
                desk.workshop,
                order.vehicle,
                order.work_items,
                desk.link.origin,
                desk.link.name,
                f"asleft {__version__}",
                order.order,
            ),
            actor=desk.technician,
        )

    def _note(self) -> None:
        """What the desk has to say at the begin, once."""
        said = {(note.id, note.text) for note in self.state.notes}
        for note in self._desk.notes:
            if (note.id, note.text) not in said:
                self._journal.append(b.Noted(note))

    async def _recover(self) -> None:
        """After an interruption: settle what nobody knows, end the runs that were cut."""
        state = self.state
        if state.unsettled:
            await settle_open_effects(self._ports, state, self._desk.book)
        for run_id, run in state.runs.items():
            if run.end is None and not _awaits_conclusion(run):
                message = say("run.cut", "cut by an interruption; nothing was sent again")
                self._journal.append(b.RunEnded(run_id, RunEnd.INTERRUPTED, Verdict.CANNOT_TELL, message))

    async def _as_received(self) -> None:
        if PictureKind.AS_RECEIVED in self.state.pictures:
            return
        question = say("picture.as-received", "Key on, engine off: the picture of the car as received is taken now.")
        answer = await ask_choice(self._log, question, ("take it", NOT_TAKEN, STOP), act="key-on")
        if answer.text == NOT_TAKEN:
            now = self._desk.clock.now()
            picture = Picture(PictureKind.AS_RECEIVED, now, now, not_taken=f"the work had begun ({answer.by})")
            self._journal.append(b.PictureTaken(picture), actor=answer.by)
            return
        await self._take(PictureKind.AS_RECEIVED)
        self._check_vin(PictureKind.AS_RECEIVED)

    async def _work_done(self) -> None:
        if PictureKind.AS_FOUND in self.state.pictures:
            return
        items = "; ".join(item.text for item in self.state.work_items)
        await confirm(
            self._log,
            say("work.done", "Key off. Do the work: {items}. Then connect the battery support.", items=items),
            kind=QuestionKind.ACT,
            cautions=planning.work_cautions(self.state.work_items),
            act="do-work",
            yes="work done",
        )

    async def _as_found(self) -> None:
        if PictureKind.AS_FOUND in self.state.pictures:
            return
        message = say(
            "picture.as-found", "Key on, engine off: the picture as found is taken before anything is learned."
        )
        await confirm(self._log, message, kind=QuestionKind.ACT, act="key-on", yes="take it")
        await self._take(PictureKind.AS_FOUND)
        self._check_vin(PictureKind.AS_FOUND)

    def _plan(self) -> None:
        if self.state.plan is not None:
            return
        found, plan = planning.needs_and_plan(self.state, self._desk.book)
        self._journal.append(b.NeedsFound(found.needs))
        for message in (*found.first, *found.checks, *found.notes):
            self._journal.append(b.Noted(message))
        for fitting, words in found.questions.items():
            self._leave_open(
                f"fitted: {fitting}", say("open.fitted", "does the car have {words}? not answered", words=words)
            )
        self._journal.append(b.PlanMade(plan))

    async def _screen(self) -> None:
        for step in self._runnable():
            if step.function in self.state.screened:
                continue
            codes = planning.screen(self._loaded(step), self.state)
            sorted_codes = tuple([await self._sort(code) for code in codes])
            self._journal.append(b.CodesScreened(step.function, sorted_codes))
        if (PictureKind.AS_RECEIVED, PictureKind.AS_FOUND) not in self.state.differences:
            self._compare(PictureKind.AS_RECEIVED, PictureKind.AS_FOUND)

    async def _procedures(self) -> None:
        for step in self._plan_steps():
            if step.procedure:
                await self._procedure(step)
            else:
                self._leave_open(
                    step.function,
                    say(
                        "open.no-procedure",
                        "{name}: the book has no procedure for this car; look it up",
                        name=step.name,
                    ),
                )

    async def _procedure(self, step: PlanStep) -> None:
        """Run one procedure until its steps are done or a person leaves it open."""
        blocking = [c for c in self.state.screened.get(step.function, ()) if c.screen is ScreenClass.BLOCK]
        if blocking:
            codes = ", ".join(sorted({c.code.full for c in blocking}))
            text = "{name}: {codes} would be learned over; repair first"
            self._leave_open(step.function, say("open.blocked", text, name=step.name, codes=codes))
            return
        await self._until_done(step.function, step.name, self._loaded(step))

    async def _close_down(self) -> None:
        """The one planned clear and the key cycles, the picture as left, what differs."""
        if any(_awaits_conclusion(r) for r in self.state.runs.values()):
            loaded = self._desk.book.procedure(planning.CLOSING_PROCEDURE)
            await self._until_done(loaded.procedure.function, loaded.procedure.name, loaded)
            for run in self._runs_of(loaded.procedure.function):
                if _awaits_conclusion(run):
                    conclude(self._ports, run, loaded.procedure, None)
        if PictureKind.AS_LEFT not in self.state.pictures:
            await self._take(PictureKind.AS_LEFT)
            self._compare(PictureKind.AS_FOUND, PictureKind.AS_LEFT)
            for monitor in remaining_in(self.state.pictures[PictureKind.AS_LEFT]):
                text = "a self-test of the car has not finished since the clear: {what}"
                self._journal.append(b.Noted(say("monitor.remains", text, what=monitor.message.text)))

    async def _until_done(self, function: str, name: str, loaded: LoadedProcedure) -> None:
        """Run a procedure; a repeat after one that did not get through is asked for, reasoned and counted."""
        while function not in self.state.open_items:
            runs = self._runs_of(function)
            if any(_awaits_conclusion(r) or r.end is RunEnd.COMPLETED for r in runs):
                return
            if runs and not await self._repeat(function, name, runs[-1], len(runs)):
                return
            module = self._module_named(loaded.procedure.module)
            way = await self._way(name, loaded)
            if not self._trusted(function, name, loaded, way):
                return
            await self._bring_to_state(name, loaded)
            request = RunRequest(
                f"{function}-{len(runs) + 1}",
                loaded,
                way,
                module,
                self._reached(),
                self._desk.gate_timeout_s,
                reason=self._reasons.get(function, ""),
            )
            await Run(self._ports, request).carry_out()
            if self._desk.person.wants_stop:
                raise RunError(Code.STOPPED_BY_PERSON, where=name)

    def _trusted(self, function: str, name: str, loaded: LoadedProcedure, way: Way) -> bool:
        """Whether its level of trust lets it start on this car; if not, it stays open, and the record says why."""
        levels = known_trust()
        why = refusal(loaded, way, self._desk.link.origin, levels)
        if why is not None:
            self._leave_open(function, say("open.trust", "{name}: not started: {why}", name=name, why=why.text))
        elif (level := levels(loaded)) is not Trust.CHECKED:
            self._journal.append(
                b.Noted(say("note.trust", "{name}: its level is {level}", name=name, level=level.value))
            )
        return why is None

    async def _repeat(self, function: str, name: str, last: RunState, attempts: int) -> bool:
        why = last.result.text if last.result else ""
        text = "{name} ended after {n} attempt(s): {why} Change the condition before trying again."
        if attempts >= 2:
            text += " Two attempts failed: look for the fault first; causes: {causes}."
        causes = "; ".join(c for named in last.causes for c in named.causes) or "none listed"
        question = say("run.again", text, name=name, n=attempts, why=why, causes=causes)
        answer = await ask_choice(self._log, question, (AGAIN, LEAVE_OPEN, STOP))
        if answer.text == AGAIN:
            message = say("run.reason", "Once more: {name}. Type what has changed; it stands in the record.", name=name)
            asked = Question(self._log.number("q"), QuestionKind.TYPE, message, (STOP,))
            self._reasons[function] = (await ask(self._log, asked)).text.strip() or "no reason given"
            return True
        self._leave_open(function, say("open.failed", "{name}: not done: {why}", name=name, why=why))
        return False

    async def _way(self, name: str, loaded: LoadedProcedure) -> Way:
        """How it is carried out: asked where the procedure has more than one way, all of equal rank."""
        offered = loaded.procedure.ways.offered
        if len(offered) < 2:
            return offered[0] if offered else Way.BY_WIRE
        words = {_WAYS[way]: way for way in offered}
        answer = await ask_choice(self._log, say("run.way", "{name}: how is it done?", name=name), (*words, STOP))
        return words[answer.text]

    async def _bring_to_state(self, name: str, loaded: LoadedProcedure) -> None:
        """Ask for the state of the car that the procedure is done in: key and engine."""
        state = loaded.procedure.state
        if state not in _STATES:
            return
        (speed,) = await self._signals.read(("engine-speed",))
        if speed.value is not None and (speed.value > RUNNING_RPM) == (state == "warm-idle"):
            return
        words, act = _STATES[state]
        message = say("run.state", "{name}: {words}.", name=name, words=words)
        await confirm(self._log, message, kind=QuestionKind.ACT, cautions=_CAUTIONS.get(state, ()), act=act)

    def _runs_of(self, function: str) -> tuple[RunState, ...]:
        return tuple(r for r in self.state.runs.values() if r.started.function == function)

    def _close(self, codes: CodesSeen) -> None:
        for run in self.state.runs.values():
            if _awaits_conclusion(run):
                procedure = self._desk.book.procedure(run.started.procedure).procedure
                conclude(self._ports, run, procedure, codes)
                for item in procedure.open_items:
                    self._leave_open(f"{procedure.function}: {item}", say("open.item", "{item}", item=item))
        state = self.state
        if state.closed is None:
            statement, released = planning.statement(state)
            body = b.JobClosed(statement, self._desk.technician, released, dict(state.counts))
            self._journal.append(body, actor=self._desk.technician)

    # -- helpers -----------------------------------------------------------------------------------------------------

    async def _take(self, kind: PictureKind) -> None:
        """Take a picture once the modules have woken up after key on."""
        self._desk.show("stage", {"picture": kind.value})
        await self._desk.clock.sleep_until(self._desk.clock.now() + WAKE_S)
        picture = await take_picture(kind, self._desk.modules, self._conversation, self._desk.clock, self._signals)
        self._journal.append(b.PictureTaken(picture))

    def _check_vin(self, kind: PictureKind) -> None:
        """VIN as read against the VIN as typed: a difference is said at once, never swallowed."""
        vehicle, picture = self.state.vehicle, self.state.pictures[kind]
        read = next(
            (i.value for m in picture.modules for i in m.identification if i.key == "vin" and not i.absence), ""
        )
        if vehicle is not None and read and read != vehicle.vin.text:
            text = "the car says VIN {read}, the order says {typed}: check that this is the right car"
            self._journal.append(b.Noted(say("vin.differs", text, read=read, typed=vehicle.vin.text)))

    def _compare(self, before: PictureKind, after: PictureKind) -> None:
        pictures = self.state.pictures
        if before in pictures and after in pictures and not pictures[before].not_taken:
            found = planning.explained(self.state, self._desk.book, differences(pictures[before], pictures[after]))
            self._journal.append(b.DifferencesFound(before, after, found))

    async def _sort(self, code: ScreenedCode) -> ScreenedCode:
        if code.screen is not ScreenClass.UNSORTED:
            return code
        text = "Trouble code {code} {text} of {module} is on no list. Before {function}: what is it?"
        message = say(
            "screen.sort",
            text,
            code=code.code.full,
            text=code.code.text,
            module=code.code.module,
            function=code.function,
        )
        choices = {
            "unrelated to this work": ScreenClass.UNRELATED,
            "expected after this work": ScreenClass.EXPECTED,
            "repair first": ScreenClass.BLOCK,
        }
        answer = await ask_choice(self._log, message, (*choices, STOP))
        return planning.sorted_by(code, choices[answer.text], answer.by)

    def _leave_open(self, item: str, message: Message) -> None:
        if item not in self.state.open_items:
            self._journal.append(b.ItemLeftOpen(item, message))

    def _plan_steps(self) -> tuple[PlanStep, ...]:
        plan = self.state.plan
        needed = {n.function for n in self.state.needs if n.grade is not Grade.NOT_NEEDED}
        return tuple(s for s in plan.steps if s.function in needed) if plan else ()

    def _runnable(self) -> tuple[PlanStep, ...]:
        return tuple(s for s in self._plan_steps() if s.procedure)

    def _loaded(self, step: PlanStep) -> LoadedProcedure:
        return self._desk.book.procedure(step.procedure)

    def _module_named(self, name: str) -> ModulePicture:
        module = self.state.pictures[PictureKind.AS_FOUND].module(name)
        if module is None or not module.responded:
            raise InputError(Code.MODULE_SILENT, f"{name} did not answer when the picture as found was taken")
        return module

    def _reached(self) -> tuple[ModulePicture, ...]:
        return tuple(m for m in self.state.pictures[PictureKind.AS_FOUND].modules if m.responded)

    def _codes_seen(self) -> CodesSeen:
        """Codes as left, and how many key cycles the closing run saw after the clear."""
        state = self.state
        left, found = state.pictures[PictureKind.AS_LEFT], state.pictures.get(PictureKind.AS_FOUND)
        read = [m for m in left.modules if m.responded and m.codes_absence is None]
        closing = self._runs_of(planning.CLOSING_PROCEDURE)
        steps = closing[-1].steps if closing else ()
        cycles = sum(s.id.startswith("cycles-after-clear-") and s.outcome is StepOutcome.DONE for s in steps)
        return CodesSeen(
            after=tuple(c for m in read for c in m.codes),
            read=tuple(m.address.name for m in read),
            before=found.codes if found else None,
            cycles=cycles,
        )


def ports_of(desk: Desk, journal: Journal, conversation: AsksEverybody, signals: Signals) -> RunPorts:
    """What the runs of a job act through."""

    async def look(address: ModuleAddress) -> ModulePicture:
        return await take_module_picture(address, desk.modules, conversation)

    return RunPorts(
        journal,
        conversation,
        signals,
        desk.person,
        desk.clock,
        desk.show,
        look,
        conversation.quiet,
        desk.key,
        conversation.protocol,
    )


def _awaits_conclusion(run: RunState) -> bool:
    """Whether a run's steps are done and judged, and only the end of the job decides the rest."""
    return run.end is None and any(s.id == PROOF and s.outcome is not None for s in run.steps)
