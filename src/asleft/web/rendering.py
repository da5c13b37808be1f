"""Templates and what they may call. Everything is escaped but figures, which escape their texts themselves."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined, select_autoescape
from markupsafe import Markup

from asleft.event.fold import RunState
from asleft.job import figures
from asleft.model.errors import Code
from asleft.model.numbers import show
from asleft.model.verdict import Verdict
from asleft.model.work import Plan

from .context import SheetPage, TodayPage
from .headings import VERDICT_WORDS, capital, distinct, unmet
from .telling import WAYS, acts_figure, is_bytes, seconds, size, spaced, stands, weighed


def _run_figures(run: RunState, narrow: bool) -> figures.RunFigures:
    return figures.RunFigures(run, narrow=narrow)


def _plan_track(plan: Plan, done: frozenset[str], narrow: bool) -> str:
    return figures.plan_track(plan, done, narrow=narrow)


def _number_line(judgement: Any, narrow: bool) -> str:
    return figures.number_line(judgement, narrow=narrow)


def safe(svg: str) -> Markup:
    """SVG of a figure, which has escaped its texts."""
    return Markup(svg)  # noqa: S704 - see the module's docstring


_KEY = re.compile(r'id="t([0-9a-f]{8})"')


def placed(svg: str, place: str) -> str:
    """The same figure with ids of its own, for a second place on one page."""
    found = _KEY.search(svg)
    if found is None:
        return svg
    key = found.group(1)
    return svg.replace(f"t{key}", f"t{place}{key}").replace(f"d{key}", f"d{place}{key}")


def words(slug: str) -> str:
    """A slug as words."""
    return slug.replace("-", " ")


def _without_verdict(text: str, verdict: Verdict | None) -> str:
    """A run's result without the verdict word that stands beside it already."""
    return text.removeprefix(f"{verdict.value}: ") if verdict else text


_CODE = re.compile(r"\s*\[(?:" + "|".join(re.escape(code.value) for code in Code) + r")\]")


def spoken(text: str) -> str:
    """Words of a message without the code in brackets, which is for programs."""
    return _CODE.sub("", text)


def _environment() -> Environment:
    environment = Environment(
        loader=PackageLoader("asleft.web"),
        autoescape=select_autoescape(default=True),
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    filters: dict[str, Any] = {
        "svg": safe,
        "words": words,
        "distinct": distinct,
        "capital": capital,
        "is_bytes": is_bytes,
        "spaced": spaced,
        "spoken": spoken,
        "without_verdict": _without_verdict,
    }
    environment.filters.update(filters)
    helpers: Mapping[str, Any] = {
        "run_figures": _run_figures,
        "number_line": _number_line,
        "plan_track": _plan_track,
        "show": show,
        "unmet": unmet,
        "ways": WAYS,
        "stands": stands,
        "weighed": weighed,
        "seconds": seconds,
        "size": size,
        "acts_figure": acts_figure,
        "verdict_words": VERDICT_WORDS,
    }
    environment.globals.update(helpers)
    return environment


ENVIRONMENT = _environment()


def render(template: str, page: TodayPage | SheetPage, **more: object) -> str:
    """A template with its page's context as ``page``."""
    return ENVIRONMENT.get_template(template).render(page=page, title="asleft", **more)


def render_plain(template: str, **values: object) -> str:
    """A template without a page's context."""
    return ENVIRONMENT.get_template(template).render(title="asleft", **values)
