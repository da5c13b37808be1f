"""Pages of one job beside its sheet: the verdict of a run, another order of the plan, documents and pauses."""

from __future__ import annotations

from typing import TYPE_CHECKING
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

from .answers import Given
from .context import ORIGIN_WORDS
from .rendering import render_plain, safe

if TYPE_CHECKING:
    from asleft.job.moving import Tried


class JobPages:
    """Handlers of the pages that only read."""

    def __init__(self, client: JobClient) -> None:
        self._client = client

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

    async def order(self, request: Request) -> Response:
        """The plan in another order: what it costs and breaks. Raises InputError: act-unknown, not the plan's names."""
        job = request.path_params["job"]
        state = self._client.watch(job).state
        if state.plan is None:
            raise HTTPException(404)
        names = tuple(n for n in request.query_params.get("order", "")[:4000].split(",") if n)
        narrow = request.cookies.get("asleft_narrow") == "1"
        return HTMLResponse(await run_in_threadpool(_order_page, job, state, names, narrow))


def _order_page(job: str, state: JobState, names: tuple[str, ...], narrow: bool) -> str:
    from asleft.job.moving import try_order  # noqa: PLC0415 - planning is imported when it is asked for

    tried = try_order(state, names)
    track = safe(plan_track(tried.plan, narrow=narrow)) if tried.plan else ""
    return render_plain("order.html", job=job, state=state, tried=tried, track=track, moves=moves(job, tried))


def moves(job: str, tried: Tried) -> tuple[tuple[str, str], ...]:
    """For each place the addresses of the order with it one earlier and one later; empty at the ends."""
    order = tried.order
    return tuple(
        (_swapped(job, order, n - 1) if n else "", _swapped(job, order, n) if n + 1 < len(order) else "")
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
