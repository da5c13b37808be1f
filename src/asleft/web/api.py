"""The history as read-only JSON under ``/api/v1``, described by ``/api/v1/openapi.json`` (OpenAPI 3.1).

Who may read is decided before (``access``): the machine itself, and from the network everybody who signed in; a link
to watch one job reaches nothing here. Answers are the values of ``job.history``; errors have a code and a sentence.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

import msgspec
from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from asleft.job.history import Asked, CarHistory, Chart, History, JobsFound, JobWhole, ProcedureHistory, ProcedureLine
from asleft.model.errors import AsleftError, Code

_ROOT = "/api/v1"
_LONGEST = 300
_NOT_THERE = (Code.JOB_UNKNOWN,)
_ORIGINS = ("vehicle", "bench", "replay")


class Problem(msgspec.Struct, frozen=True):
    """Why there is no answer: a stable code, and where, why and what to do in one sentence."""

    code: str
    error: str


@dataclass(frozen=True)
class Ask:
    """One thing that can be asked.

    Attributes:
        path: with ``{name}`` places. words: what it answers.
        kind: the answer. run: gives it, from the parameters.
        needed, allowed: parameters of the query, besides the places of the path.
    """

    path: str
    words: str
    kind: Any
    run: Callable[[History, Mapping[str, str]], Any]
    needed: tuple[str, ...] = ()
    allowed: tuple[str, ...] = ()


#: Parameter -> what it means.
_MEANINGS = {
    "words": "words or numbers, all of which must be there; a star at the end stands for any ending",
    "vin": "VIN, whole or its last eight characters",
    "plate": "plate",
    "order": "order",
    "number": "number of a job",
    "module": "part, software, hardware or serial number or calibration of a control module; in charts its name",
    "code": "trouble code",
    "procedure": "procedure or function",
    "person": "who worked, confirmed or signed",
    "since": "first day in UTC, such as 2031-04-17, or its beginning",
    "until": "last day in UTC, or its beginning",
    "origin": "where the data comes from",
    "most": "jobs on a page",
    "after": "as the page before said",
    "source": "data folder, where several have a job of this number",
    "key": "what the module holds, such as learned-lower-stop",
    "criterion": "criterion of the procedure's proof",
    "make": "only this make",
}
#: Form of a parameter, as a regular expression.
_DAY = "^([0-9]{4}(-[0-9]{2}(-[0-9]{2})?)?)?$"
_FORMS = {
    "since": _DAY,
    "until": _DAY,
    "after": "^([0-9TZ:.-]{1,40}~[0-9]{1,18})?$",
}


def _chart(history: History, p: Mapping[str, str], first: str, second: str, judged: bool) -> Chart:
    ask = history.chart_judged if judged else history.chart_learned
    return ask(p[first], p[second], p.get("origin", "vehicle"), p.get("make", ""), p.get("vin", ""))


ASKS: tuple[Ask, ...] = (
    Ask(
        "/jobs",
        "Jobs for which all that is asked holds, newest first.",
        JobsFound,
        lambda h, p: h.search(msgspec.convert(dict(p), Asked, strict=False)),
        allowed=Asked.__struct_fields__,
    ),
    Ask("/jobs/{number}", "One job.", JobWhole, lambda h, p: h.job(p["number"], p.get("source", "")), (), ("source",)),
    Ask("/cars/{vin}", "A car's jobs side by side, oldest first.", CarHistory, lambda h, p: h.car(p["vin"])),
    Ask("/procedures", "Procedures that were run.", tuple[ProcedureLine, ...], lambda h, _: h.procedures()),
    Ask(
        "/procedures/{procedure}",
        "How often a procedure fails, why, and how long it takes, with 95 % intervals.",
        ProcedureHistory,
        lambda h, p: h.procedure(p["procedure"], p.get("origin", "vehicle")),
        allowed=("origin",),
    ),
    Ask(
        "/charts/learned",
        "A module's value as left, over jobs, with its own control limits.",
        Chart,
        lambda h, p: _chart(h, p, "module", "key", judged=False),
        ("module", "key"),
        ("origin", "make", "vin"),
    ),
    Ask(
        "/charts/judged",
        "A criterion's value over runs, with its own control limits.",
        Chart,
        lambda h, p: _chart(h, p, "procedure", "criterion", judged=True),
        ("procedure", "criterion"),
        ("origin", "make", "vin"),
    ),
)


def make_api(history: History) -> Starlette:
    """The application that answers everything under ``/api/v1``."""
    document = msgspec.json.encode(openapi())

    async def described(_request: Request) -> Response:
        return Response(document, media_type="application/json")

    routes = [Route(f"{_ROOT}{ask.path}", _handler(ask, history)) for ask in ASKS]
    handlers: dict[Any, Any] = {AsleftError: _ours, msgspec.ValidationError: _invalid, HTTPException: _http}
    return Starlette(routes=[Route(f"{_ROOT}/openapi.json", described), *routes], exception_handlers=handlers)


def _handler(ask: Ask, history: History) -> Callable[[Request], Any]:
    async def answer(request: Request) -> Response:
        parameters = _parameters(request, ask)

        def work() -> bytes:
            history.refresh()
            return msgspec.json.encode(ask.run(history, parameters))

        return Response(await run_in_threadpool(work), media_type="application/json")

    return answer


def _parameters(request: Request, ask: Ask) -> dict[str, str]:
    pairs = request.query_params.multi_items()
    said = dict(pairs)
    strange = sorted(said.keys() - {*ask.needed, *ask.allowed})
    missing = [name for name in ask.needed if not said.get(name)]
    wrong = [f"{name} is not a parameter" for name in strange] + [f"{name} is missing" for name in missing]
    wrong += [] if len(pairs) == len(said) else ["a parameter is there twice"]
    if (origin := said.get("origin")) is not None and origin not in _ORIGINS:
        wrong.append(f"origin: one of {', '.join(_ORIGINS)}")
    if (most := said.get("most")) is not None and not re.fullmatch("[1-9][0-9]{0,2}", most):
        wrong.append("most: a number from 1 to 200")
    whole = {**said, **{name: str(value) for name, value in request.path_params.items()}}
    whole = {name: text.replace("\0", "\ufffd") for name, text in whole.items()}  # as the store keeps it
    wrong += [f"{name}: at most {_LONGEST} characters" for name, text in whole.items() if len(text) > _LONGEST]
    wrong += [f"{name}: not in its form" for name, form in _FORMS.items() if not re.search(form, said.get(name, ""))]
    if wrong:
        raise HTTPException(400, "; ".join(wrong))
    return whole


# -- errors ----------------------------------------------------------------------------------------------------------


def _problem(status: int, code: str, text: str, headers: Mapping[str, str] | None = None) -> Response:
    body = msgspec.json.encode(Problem(code, text))
    return Response(body, status, dict(headers or {}), media_type="application/json")


async def _ours(_request: Request, error: AsleftError) -> Response:
    return _problem(404 if error.code in _NOT_THERE else 400, error.code.value, error.sentence())


async def _invalid(_request: Request, error: Exception) -> Response:
    return _problem(400, Code.ASKED_WRONGLY.value, str(error))


async def _http(_request: Request, error: HTTPException) -> Response:
    code = {404: "not-found", 405: "not-allowed"}.get(error.status_code, "request-bad")
    return _problem(error.status_code, code, str(error.detail), error.headers)


# -- description -----------------------------------------------------------------------------------------------------


def openapi() -> dict[str, Any]:
    """The description, made from what is asked and from the types of the answers."""
    kinds = [ask.kind for ask in ASKS]
    schemas, components = msgspec.json.schema_components([*kinds, Problem], ref_template="#/components/schemas/{name}")
    paths = {
        f"{_ROOT}{ask.path}": {"get": _operation(ask, schema, schemas[-1])}
        for ask, schema in zip(ASKS, schemas, strict=False)
    }
    return {
        "openapi": "3.1.0",
        "info": {
            "title": "asleft history",
            "version": "1",
            "description": "Read only. From the network the page's sign-in is asked for.",
        },
        "paths": paths,
        "components": {"schemas": components},
    }


def _operation(ask: Ask, schema: Mapping[str, Any], problem: Mapping[str, Any]) -> dict[str, Any]:
    places = re.findall(r"\{(\w+)\}", ask.path)
    parameters = [_parameter(name, "path", required=True) for name in places]
    parameters += [_parameter(name, "query", required=True) for name in ask.needed]
    parameters += [_parameter(name, "query", required=False) for name in ask.allowed]
    bad = {"description": "not answered", "content": {"application/json": {"schema": problem}}}
    good = {"description": ask.words, "content": {"application/json": {"schema": schema}}}
    refused = {"description": "not signed in", "content": {"text/plain": {"schema": {"type": "string"}}}}
    answers = {"200": good, "400": bad, "401": refused, "403": refused, "404": bad}
    name = re.sub(r"\W+", "-", ask.path).strip("-")
    return {"operationId": name, "summary": ask.words, "parameters": parameters, "responses": answers}


def _parameter(name: str, place: str, *, required: bool) -> dict[str, Any]:
    schema: dict[str, Any] = {"type": "string", "minLength": 1 if required else 0, "maxLength": _LONGEST}
    if name == "origin":
        schema = {"type": "string", "enum": list(_ORIGINS)}
    elif name == "most":
        schema = {"type": "integer", "minimum": 1, "maximum": 200, "default": 20}
    elif name in _FORMS:
        schema["pattern"] = _FORMS[name]
    return {"name": name, "in": place, "required": required, "description": _MEANINGS[name], "schema": schema}
