"""Pages of the history: find jobs, a car's jobs side by side, a procedure over cars, charts."""

from __future__ import annotations

from collections.abc import Callable
from urllib.parse import quote

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import HTMLResponse, Response
from starlette.types import ASGIApp

from asleft.job.history import Asked, History
from asleft.model.errors import AsleftError

from .api import make_api
from .rendering import render_plain, safe

_LONGEST = 200
#: Jobs of a car side by side on a page; the command and the interface give more.
_SIDE_BY_SIDE = 6


class HistoryPages:
    """Handlers; each takes in first what is new. Args: history: of the data folder."""

    def __init__(self, history: History) -> None:
        self._history = history
        self._api = make_api(history)

    async def api(self, _request: Request) -> ASGIApp:
        """The interface for programs, which answers in its own form."""
        return self._api

    async def find(self, request: Request) -> Response:
        """The box, and what it finds; without words the newest jobs."""
        words = request.query_params.get("words", "")[:_LONGEST]
        after = request.query_params.get("after", "")[:_LONGEST]

        def work() -> str:
            problem, found = "", None
            try:
                found = self._history.search(Asked(words=words, after=after))
            except AsleftError as error:
                problem = error.sentence()
            more = f"/history?words={quote(words)}&after={quote(found.after)}" if found and found.after else ""
            return render_plain("history.html", words=words, found=found, more=more, problem=problem)

        return await self._page(work)

    async def car(self, request: Request) -> Response:
        """A car's jobs side by side, the newest six."""
        vin = request.path_params["vin"]

        def work() -> str:
            car = self._history.car(vin)
            first = max(0, len(car.jobs) - _SIDE_BY_SIDE)
            lines = [(line, line.values[first:]) for line in car.lines if any(line.values[first:])]
            return render_plain("history_car.html", car=car, jobs=car.jobs[first:], lines=lines, hidden=first)

        return await self._page(work)

    async def procedures(self, _request: Request) -> Response:
        """All procedures that were run."""
        return await self._page(
            lambda: render_plain("history_procedure.html", lines=self._history.procedures(), found=None, problem="")
        )

    async def procedure(self, request: Request) -> Response:
        """One procedure over cars."""
        name, origin = request.path_params["name"], request.query_params.get("origin", "vehicle")

        def work() -> str:
            found = self._history.procedure(name, origin)
            return render_plain("history_procedure.html", lines=(), found=found, problem="")

        return await self._page(work)

    async def chart(self, request: Request) -> Response:
        """A module's value, or a criterion's, over jobs."""
        said = {name: text[:_LONGEST] for name, text in request.query_params.items()}
        origin, make, vin = said.get("origin", "vehicle"), said.get("make", ""), said.get("vin", "")

        def work() -> str:
            judged = bool(said.get("procedure"))
            ask = self._history.chart_judged if judged else self._history.chart_learned
            of, key = ("procedure", "criterion") if judged else ("module", "key")
            chart = ask(said.get(of, ""), said.get(key, ""), origin, make, vin)
            return render_plain("history_chart.html", chart=chart, figure=safe(chart.svg()), origin=origin, vin=vin)

        return await self._page(work)

    async def _page(self, work: Callable[[], str]) -> Response:
        def whole() -> str:
            self._history.refresh()
            return work()

        return HTMLResponse(await run_in_threadpool(whole))
