"""The procedures of a job's plan: each run until its steps are done, or a person leaves it open."""

from __future__ import annotations

from asleft.book.loader import LoadedProcedure
from asleft.book.procedure import Way
from asleft.book.trust import Trust
from asleft.event import body as b
from asleft.event.fold import RunState
from asleft.model.errors import Code, RunError
from asleft.model.message import Message, say
from asleft.model.question import Question, QuestionKind
from asleft.model.step_coding import Coding
from asleft.model.verdict import RunEnd
from asleft.model.work import PlanStep, ScreenClass
from asleft.run.asking import STOP, ask, ask_choice, confirm
from asleft.run.deciding import undecided
from asleft.run.engine import Run, RunRequest
from asleft.run.recover import settle_open_effects

from .book_trust import known_trust, refusal
from .hand import JobHand, awaits_conclusion

#: Above this an engine runs, 1/min. Common practice, no source.
RUNNING_RPM = 400.0
LEAVE_OPEN = "leave it open"
AGAIN = "try again"
KEEP = "it stays as it is"
ONCE_MORE = "once more: another option, or a stored picture back"

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


class Procedures:
    """Carries out what the plan of a job asks for. Args: hand: the job in hand."""

    def __init__(self, hand: JobHand) -> None:
        self._hand = hand
        self._reasons: dict[str, str] = {}

    async def carry_out(self, step: PlanStep) -> None:
        """Run one procedure until its steps are done or a person leaves it open."""
        blocking = [c for c in self._hand.state.screened.get(step.function, ()) if c.screen is ScreenClass.BLOCK]
        if blocking:
            codes = ", ".join(sorted({c.code.full for c in blocking}))
            text = "{name}: {codes} would be learned over; repair first"
            self._hand.leave_open(step.function, say("open.blocked", text, name=step.name, codes=codes))
            return
        await self.until_done(step.function, step.name, self._hand.loaded(step))

    async def until_done(self, function: str, name: str, loaded: LoadedProcedure) -> None:
        """Run a procedure; a repeat after one that did not get through is asked for, reasoned and counted."""
        while function not in self._hand.state.open_items:
            await self._know_first()
            runs = self._hand.runs_of(function)
            if any(awaits_conclusion(r) or r.end is RunEnd.COMPLETED for r in runs):
                if not await self._once_more(name, loaded, runs):
                    return
            elif runs and not await self._repeat(function, name, runs[-1], len(runs)):
                return
            module = self._hand.module_named(loaded.procedure.module)
            way = await self._way(name, loaded)
            if not self._trusted(function, name, loaded, way):
                return
            await self._bring_to_state(name, loaded)
            request = RunRequest(
                f"{function}-{len(runs) + 1}",
                loaded,
                way,
                module,
                self._hand.reached(),
                self._hand.desk.gate_timeout_s,
                reason=self._reasons.pop(function, ""),
                usual_s=await self._hand.desk.usual(loaded.procedure.id, self._hand.desk.link.origin.value),
            )
            await Run(self._hand.ports, request).carry_out()
            if self._hand.desk.person.wants_stop:
                raise RunError(Code.STOPPED_BY_PERSON, where=name)

    async def _know_first(self) -> None:
        """Nothing is begun while an earlier effect is neither read nor put to a person."""
        state = self._hand.state
        if undecided(state):
            await settle_open_effects(self._hand.ports, state, self._hand.desk.book)

    def _trusted(self, function: str, name: str, loaded: LoadedProcedure, way: Way) -> bool:
        """Whether its level of trust lets it start on this car; if not, it stays open, and the record says why."""
        levels = known_trust()
        why = refusal(loaded, way, self._hand.desk.link.origin, levels)
        if why is not None:
            self._hand.leave_open(function, say("open.trust", "{name}: not started: {why}", name=name, why=why.text))
        elif (level := levels(loaded)) is not Trust.CHECKED:
            self._hand.journal.append(
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
        answer = await ask_choice(self._hand.log, question, (AGAIN, LEAVE_OPEN, STOP))
        if answer.text == AGAIN:
            message = say("run.reason", "Once more: {name}. Type what has changed; it stands in the record.", name=name)
            await self._reason(function, message)
            return True
        self._hand.leave_open(function, say("open.failed", "{name}: not done: {why}", name=name, why=why))
        return False

    async def _once_more(self, name: str, loaded: LoadedProcedure, runs: tuple[RunState, ...]) -> bool:
        """Whether a coding that is done is taken up again: another option, or a stored picture back."""
        steps = loaded.procedure.ways.steps(Way(runs[-1].started.way))
        if not any(isinstance(step, Coding) for step in steps):
            return False
        text = "{name} is written (run {n}). Does it stay so?"
        message = say("run.keep", text, name=name, n=len(runs))
        said = [a.text for q, a in self._hand.state.questions.values() if q.message == message and a is not None]
        if not said:
            said = [(await ask_choice(self._hand.log, message, (KEEP, ONCE_MORE, STOP))).text]
        if said[-1] != ONCE_MORE:
            return False
        reason = say("run.reason-again", "Once more: {name}. Type why; it stands in the record.", name=name)
        await self._reason(loaded.procedure.function, reason)
        return True

    async def _reason(self, function: str, message: Message) -> None:
        asked = Question(self._hand.log.number("q"), QuestionKind.TYPE, message, (STOP,))
        self._reasons[function] = (await ask(self._hand.log, asked)).text.strip() or "no reason given"

    async def _way(self, name: str, loaded: LoadedProcedure) -> Way:
        """How it is carried out: asked where the procedure has more than one way, all of equal rank."""
        offered = loaded.procedure.ways.offered
        if len(offered) < 2:
            return offered[0] if offered else Way.BY_WIRE
        words = {_WAYS[way]: way for way in offered}
        answer = await ask_choice(self._hand.log, say("run.way", "{name}: how is it done?", name=name), (*words, STOP))
        return words[answer.text]

    async def _bring_to_state(self, name: str, loaded: LoadedProcedure) -> None:
        """Ask for the state of the car that the procedure is done in: key and engine."""
        state = loaded.procedure.state
        if state not in _STATES:
            return
        (speed,) = await self._hand.signals.read(("engine-speed",))
        if speed.value is not None and (speed.value > RUNNING_RPM) == (state == "warm-idle"):
            return
        words, act = _STATES[state]
        message = say("run.state", "{name}: {words}.", name=name, words=words)
        await confirm(self._hand.log, message, kind=QuestionKind.ACT, cautions=_CAUTIONS.get(state, ()), act=act)
