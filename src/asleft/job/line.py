"""The stages of a job in order, from the open order to the closed record.

Where a job stands is read from its events, so a job that stopped goes on where it was: a stage whose events are there
is not done again. Nothing here sends anything to a car but through ``run``.
"""

from __future__ import annotations

import asyncio

from asleft import __version__
from asleft.event import body as b
from asleft.model.errors import AsleftError
from asleft.model.message import say
from asleft.model.module import Picture, PictureKind
from asleft.model.question import QuestionKind
from asleft.model.verdict import RunEnd, Verdict
from asleft.model.work import PlanStep, ScreenClass, ScreenedCode
from asleft.ports.journal import Journal
from asleft.ports.signals import Signals
from asleft.proof.codes import CodesSeen
from asleft.run.asking import STOP, ask_choice, confirm
from asleft.run.deciding import undecided
from asleft.run.monitors import remaining_in
from asleft.run.proving import conclude
from asleft.run.recover import settle_open_effects
from asleft.talk.pictures import AsksEverybody

from . import planning
from .desk import Desk, Order
from .facts import state_facts
from .fittings import answered, ask_fittings, asked_for
from .hand import JobHand, awaits_conclusion
from .job_pictures import check_vin, codes_seen, compare, take
from .parts import later_parts, to_carry_out
from .running import Procedures

#: Id of the last question of a job.
BEFORE_CLOSING = "record.close"
NOT_TAKEN = "not taken: the work has begun"


class JobLine:
    """One job worked through.

    Args:
        desk: what it is worked with.
        journal: its record.
        conversation, signals: on the desk's link, with receipts of this journal.
    """

    def __init__(self, desk: Desk, journal: Journal, conversation: AsksEverybody, signals: Signals) -> None:
        self._hand = JobHand(desk, journal, conversation, signals)
        self._procedures = Procedures(self._hand)

    async def work(self, order: Order) -> None:
        """All stages, from wherever the job stands.

        Raises: AsleftError: the job stopped and says why; it can go on later. CancelledError: interrupted.
        """
        try:
            await self._stages(order)
        except asyncio.CancelledError:
            message = say("job.interrupted", "interrupted from outside; it goes on where it stands")
            self._hand.journal.append(b.JobStopped("interrupted", message))
            raise
        except AsleftError as error:
            await self._hand.conversation.close_sessions()
            self._hand.journal.append(b.JobStopped(error.code.value, say("job.stopped", "{why}", why=error.sentence())))
            raise

    async def _stages(self, order: Order) -> None:
        if self._hand.state.opened is None:
            self._open(order)
        self._note()
        await self._recover()
        await self._as_received()
        await self._work_done()
        await self._as_found()
        await self._plan()
        await self._screen()
        await self._planned()
        await self._close_down()
        await self._before_closing()
        self._close(codes_seen(self._hand))

    # -- the stages --------------------------------------------------------------------------------------------------

    def _open(self, order: Order) -> None:
        desk = self._hand.desk
        self._hand.journal.append(
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
        state_facts(self._hand.journal, desk.facts, "asleft")
        state_facts(self._hand.journal, order.facts, desk.technician)

    def _note(self) -> None:
        """What the desk has to say at the begin, once."""
        said = {(note.id, note.text) for note in self._hand.state.notes}
        for note in self._hand.desk.notes:
            if (note.id, note.text) not in said:
                self._hand.journal.append(b.Noted(note))

    async def _recover(self) -> None:
        """After an interruption: settle what nobody knows, end the runs that were cut."""
        state = self._hand.state
        if state.unsettled or undecided(state):
            await settle_open_effects(self._hand.ports, state, self._hand.desk.book)
        for run_id, run in state.runs.items():
            if run.end is None and not awaits_conclusion(run):
                message = say("run.cut", "cut by an interruption; nothing was sent again")
                self._hand.journal.append(b.RunEnded(run_id, RunEnd.INTERRUPTED, Verdict.CANNOT_TELL, message))

    async def _as_received(self) -> None:
        if PictureKind.AS_RECEIVED in self._hand.state.pictures:
            return
        question = say("picture.as-received", "Key on, engine off: the picture of the car as received is taken now.")
        answer = await ask_choice(self._hand.log, question, ("take it", NOT_TAKEN, STOP), act="key-on")
        if answer.text == NOT_TAKEN:
            now = self._hand.desk.clock.now()
            picture = Picture(PictureKind.AS_RECEIVED, now, now, not_taken=f"the work had begun ({answer.by})")
            self._hand.journal.append(b.PictureTaken(picture), actor=answer.by)
            return
        await take(self._hand, PictureKind.AS_RECEIVED)
        check_vin(self._hand, PictureKind.AS_RECEIVED)

    async def _work_done(self) -> None:
        if PictureKind.AS_FOUND in self._hand.state.pictures:
            return
        items = "; ".join(item.text for item in self._hand.state.work_items)
        await confirm(
            self._hand.log,
            say("work.done", "Key off. Do the work: {items}. Then connect the battery support.", items=items),
            kind=QuestionKind.ACT,
            cautions=planning.work_cautions(self._hand.state.work_items),
            act="do-work",
            yes="work done",
        )

    async def _as_found(self) -> None:
        if PictureKind.AS_FOUND in self._hand.state.pictures:
            return
        message = say(
            "picture.as-found", "Key on, engine off: the picture as found is taken before anything is learned."
        )
        await confirm(self._hand.log, message, kind=QuestionKind.ACT, act="key-on", yes="take it")
        await take(self._hand, PictureKind.AS_FOUND)
        check_vin(self._hand, PictureKind.AS_FOUND)

    async def _plan(self) -> None:
        """Needs and order; what a need depends on and no picture shows is asked first, once."""
        state, desk = self._hand.state, self._hand.desk
        if state.plan is not None:
            return
        known = answered(state)
        open_ones = planning.fittings_asked_for(state, desk.book, known)
        known |= await ask_fittings(self._hand.log, {f: w for f, w in open_ones.items() if f not in asked_for(state)})
        asked = planning.Asked(fitted=known, workshop=desk.minutes)
        found, plan = planning.needs_and_plan(self._hand.state, desk.book, asked)
        self._hand.journal.append(b.NeedsFound(found.needs))
        for message in (*found.first, *found.checks, *found.notes):
            self._hand.journal.append(b.Noted(message))
        for fitting, words in found.questions.items():
            self._hand.leave_open(
                f"fitted: {fitting}", say("open.fitted", "does the car have {words}? not answered", words=words)
            )
        self._hand.journal.append(b.PlanMade(plan))

    async def _screen(self) -> None:
        for step in self._runnable():
            if step.function in self._hand.state.screened:
                continue
            codes = planning.screen(self._hand.loaded(step), self._hand.state)
            sorted_codes = tuple([await self._sort(code) for code in codes])
            self._hand.journal.append(b.CodesScreened(step.function, sorted_codes))
        if (PictureKind.AS_RECEIVED, PictureKind.AS_FOUND) not in self._hand.state.differences:
            compare(self._hand, PictureKind.AS_RECEIVED, PictureKind.AS_FOUND)

    async def _planned(self) -> None:
        none = "{name}: the book has no procedure for this car; look it up"
        other = "{name}: the book's procedure is carried out once, for the part before; see whether it covers this one"
        course = self._hand.desk.course
        # looked for anew each time: another order may be chosen for what has not begun
        while (step := next((s for s in self._plan_steps() if s.function not in course.begun), None)) is not None:
            course.begin(step.function)
            if step.procedure:
                await self._procedures.carry_out(step)
            else:
                self._hand.leave_open(step.function, say("open.no-procedure", none, name=step.name))
        for step in later_parts(self._hand.state.plan, self._hand.state.needs):
            template, text = ("open.part", other) if step.procedure else ("open.no-procedure", none)
            self._hand.leave_open(step.function, say(template, text, name=step.name))

    async def _close_down(self) -> None:
        """The one planned clear and the key cycles, the picture as left, what differs."""
        if any(awaits_conclusion(r) for r in self._hand.state.runs.values()):
            await self._clear()
        if PictureKind.AS_LEFT not in self._hand.state.pictures:
            await take(self._hand, PictureKind.AS_LEFT)
            compare(self._hand, PictureKind.AS_FOUND, PictureKind.AS_LEFT)
            for monitor in remaining_in(self._hand.state.pictures[PictureKind.AS_LEFT]):
                text = "a self-test of the car has not finished since the clear: {what}"
                self._hand.journal.append(b.Noted(say("monitor.remains", text, what=monitor.message.text)))

    async def _clear(self) -> None:
        """The planned clear; on a car without the module that its conditions are read from it stays open."""
        loaded = self._hand.desk.book.procedure(planning.CLOSING_PROCEDURE)
        procedure = loaded.procedure
        if procedure.module not in {module.address.name for module in self._hand.reached()}:
            text = "{name}: no module named {module} answers on this car; no trouble code is cleared"
            message = say("open.no-clear", text, name=procedure.name, module=procedure.module)
            self._hand.leave_open(procedure.function, message)
            return
        await self._procedures.until_done(procedure.function, procedure.name, loaded)
        for run in self._hand.runs_of(procedure.function):
            if awaits_conclusion(run):
                conclude(self._hand.ports, run, procedure, None)

    async def _before_closing(self) -> None:
        """The last moment for what no module tells: once closed, a record takes corrections only."""
        text = (
            "Before the record is closed: state what no module tells (odometer, parts, road test, who approves, what "
            "the customer was told). Then close it."
        )
        await confirm(self._hand.log, say(BEFORE_CLOSING, text), yes="close the record")

    def _close(self, codes: CodesSeen) -> None:
        for run in self._hand.state.runs.values():
            if awaits_conclusion(run):
                procedure = self._hand.desk.book.procedure(run.started.procedure).procedure
                conclude(self._hand.ports, run, procedure, codes)
                for item in procedure.open_items:
                    self._hand.leave_open(f"{procedure.function}: {item}", say("open.item", "{item}", item=item))
        state = self._hand.state
        if state.closed is None:
            statement, released = planning.statement(state)
            body = b.JobClosed(statement, self._hand.desk.technician, released, dict(state.counts))
            self._hand.journal.append(body, actor=self._hand.desk.technician)

    # -- helpers -----------------------------------------------------------------------------------------------------

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
        answer = await ask_choice(self._hand.log, message, (*choices, STOP))
        return planning.sorted_by(code, choices[answer.text], answer.by)

    def _plan_steps(self) -> tuple[PlanStep, ...]:
        return to_carry_out(self._hand.state.plan, self._hand.state.needs)

    def _runnable(self) -> tuple[PlanStep, ...]:
        return tuple(s for s in self._plan_steps() if s.procedure)
