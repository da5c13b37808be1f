"""Pages of one job beside its sheet: the verdict of a run, another order of the plan, documents and pauses."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any
from urllib.parse import quote

from starlette.concurrency import run_in_threadpool
from starlette.datastructures import FormData, UploadFile
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import HTMLResponse, Response

from asleft.event.fold import JobState, RunState
from asleft.job.client import JobClient
from asleft.job.figures import plan_track
from asleft.model.verdict import Judgement, Rule, Verdict

from .access import who_asks
from .answers import Given
from .context import ORIGIN_WORDS, Viewer
from .rendering import render_plain, safe
from .sight import EngineSight

if TYPE_CHECKING:
    from asleft.job.moving import Tried


#: In the address instead of names: the best order.
BEST = "best"


class JobPages:
    """Pages beside the sheet. Args: sight: the engine. token: what a form carries."""

    def __init__(self, client: JobClient, sight: EngineSight, token: str) -> None:
        self._client = client
        self._sight = sight
        self._token = token

    async def verdict(self, request: Request) -> Response:
        """Everything about the verdict of one run."""
        job, name = request.path_params["job"], request.path_params["run"]
        state = self._client.watch(job).state
        run = state.runs.get(name)
        if run is None:
            raise HTTPException(404)
        narrow = request.cookies.get("asleft_narrow") == "1"
        page = {"state": state, "run": run, "narrow": narrow, "origin": ORIGIN_WORDS[state.origin]}
        return HTMLResponse(render_plain("verdict.html", job=job, next_measures=next_measures(run), **page))

    async def order(
        self, request: Request, names: str = "", viewer: Viewer | None = None, problem: str = ""
    ) -> Response:
        """The plan in another order: what it costs and breaks, and a form to take it.

        Args: names: with commas; else as the address says; else the plan's. problem: why it was not taken.
        Raises: InputError: act-unknown, not the plan's names.
        """
        job = request.path_params["job"]
        state = self._client.watch(job).state
        if state.plan is None:
            raise HTTPException(404)
        wanted = tuple(n for n in (names or request.query_params.get("order", ""))[:4000].split(",") if n)
        viewer = viewer or Viewer(narrow=request.cookies.get("asleft_narrow") == "1")
        engine = await self._sight.look(fresh=True)
        more = {
            "in_hand": engine.job == job,
            "acts": who_asks(request).may("POST", f"/job/{job}/order"),
            "by": viewer.by or engine.technician,
            "fixed": viewer.signed_in,
            "token": self._token,
            "problem": problem,
        }
        page = await run_in_threadpool(_order_page, job, state, wanted, viewer.narrow, more)
        return HTMLResponse(page, 409 if problem else 200)


def _order_page(job: str, state: JobState, names: tuple[str, ...], narrow: bool, more: dict[str, Any]) -> str:
    from asleft.job.course import Course, begun_in  # noqa: PLC0415 - planning is imported when it is asked for
    from asleft.job.moving import try_order  # noqa: PLC0415

    now = tuple(step.function for step in state.plan.steps) if state.plan else ()
    tried = try_order(state, () if names == (BEST,) else names or (now if state.orders else ()))
    track = safe(plan_track(tried.plan, narrow=narrow)) if tried.plan else ""
    begun = begun_in(state, Course()) if state.closed is None else ()
    held = len(begun) if tried.order[: len(begun)] == begun else 0
    more = {**more, "held": held, "same": tried.order == now, "best": BEST}
    return render_plain(
        "order.html", job=job, state=state, tried=tried, track=track, moves=moves(job, tried, held), **more
    )


def moves(job: str, tried: Tried, held: int = 0) -> tuple[tuple[str, str], ...]:
    """For each place the addresses of the order with it one earlier and one later; empty where it cannot go.

    Args: held: places at the beginning that have begun and stay.
    """
    order = tried.order
    return tuple(
        (
            _swapped(job, order, n - 1) if n > held else "",
            _swapped(job, order, n) if held <= n < len(order) - 1 else "",
        )
        for n in range(len(order))
    )


def _swapped(job: str, order: tuple[str, ...], n: int) -> str:
    other = (*order[:n], order[n + 1], order[n], *order[n + 2 :])
    return f"/job/{quote(job)}/order?order={quote(','.join(other))}"


def next_measures(run: RunState) -> tuple[str, ...]:
    """What to measure next, each once: what would settle a criterion that was not passed."""
    open_ones = (j for j in run.judgements if _not_passed(j) and j.settles is not None)
    return tuple(dict.fromkeys(j.settles.text for j in open_ones if j.settles is not None))


def _not_passed(judgement: Judgement) -> bool:
    return judgement.verdict is not Verdict.PASS and judgement.rule is not Rule.REPORT_ONLY


async def attached(client: JobClient, job: str, form: FormData) -> str:
    """The answer that attaches the form's document; empty when there is none. Raises RunError."""
    document = form.get("document")
    if not isinstance(document, UploadFile) or not document.filename:
        return ""
    return await client.attach(job, document.filename[-120:], await document.read())


def with_text(given: Given, text: str) -> Given:
    """The same answer with another text."""
    return Given(given.question, text, given.by, given.bench)
