"""Templates and their contexts: every state renders, nothing undefined, nothing unused, nothing unescaped."""

from __future__ import annotations

import dataclasses
import html
import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from jinja2 import nodes

import asleft.web
from asleft.event import body as b
from asleft.event.envelope import Event
from asleft.event.fold import fold
from asleft.model.errors import Code, RunError
from asleft.model.question import Question, QuestionKind
from asleft.model.verdict import Verdict
from asleft.web.context import SheetPage, TodayPage, Viewer
from asleft.web.pages import Pages
from asleft.web.parts import all_parts
from asleft.web.rendering import ENVIRONMENT, placed, render, spoken
from asleft.web.sight import Engine
from asleft.web.stage import ORDER, in_hand
from kit.events import Job, demo_job, fail_job, hostile_job, interrupted_job, opened, replay_job, say
from kit.evidence import evidence_job
from kit.gallery import cut_after, whole_job

TEMPLATES = Path(asleft.web.__file__).parent / "templates"
NOBODY = Engine(False)
NASTY = "<script>alert(1)</script>\"'><img src=x onerror=alert(2)>\u202e{{ 7*7 }}" + "W" * 3000


def page_of(events: tuple[Event, ...], engine: Engine | None = None, **more: object) -> SheetPage:
    state = fold(events)
    number = state.number or "J-1"
    at_work = engine or Engine(True, "bench", "bus", "Gable Street Motors", "M. Okafor", number, bench=True)
    return SheetPage("token", number, at_work, state, "0" * 64, bool(more.get("signed", True)), Viewer())


def every_prefix(events: tuple[Event, ...]) -> Iterator[tuple[Event, ...]]:
    for end in range(len(events) + 1):
        yield events[:end]


@pytest.mark.parametrize("narrow", [False, True])
@pytest.mark.parametrize(
    "job", [demo_job, fail_job, replay_job, interrupted_job, evidence_job, lambda: hostile_job(NASTY)]
)
def test_a_job_renders_after_each_of_its_events(job: object, narrow: bool) -> None:
    for events in every_prefix(job()):  # type: ignore[operator]
        page = dataclasses.replace(page_of(events), viewer=Viewer("M. Okafor", narrow))
        assert "</html>" in render("sheet.html", page)


def test_the_bench_cars_job_renders_after_each_of_its_events_whatever_the_engine_does() -> None:
    engines = (NOBODY, Engine(True, "bench", job="another"), Engine(True, "bench"))
    for i, events in enumerate(every_prefix(whole_job())):
        render("sheet.html", page_of(events))
        page = page_of(events, engines[i % 3], signed=False)
        for name in all_parts():
            render(f"parts/{name}.html", page)


# -- contexts --------------------------------------------------------------------------------


def used_names() -> set[str]:
    """Names after ``page.`` in all templates."""
    found: set[str] = set()
    for path in TEMPLATES.rglob("*.html"):
        tree = ENVIRONMENT.parse(path.read_text())
        found |= {n.attr for n in tree.find_all(nodes.Getattr) if getattr(n.node, "name", "") == "page"}
    return found


def names_of(context: type) -> set[str]:
    own = {n for n, v in vars(context).items() if callable(v) or isinstance(v, property)}
    return {f.name for f in dataclasses.fields(context)} | {n for n in own if not n.startswith("_")}


def test_templates_use_nothing_but_the_contexts() -> None:
    assert used_names() <= names_of(SheetPage) | names_of(TodayPage)


def test_the_contexts_hold_nothing_that_no_template_uses() -> None:
    assert names_of(SheetPage) | names_of(TodayPage) <= used_names()


# -- what is shown --------------------------------------------------------------------------------


def status(page: SheetPage, name: str) -> str:
    return page.view(name).status.value


def test_what_is_done_is_folded_and_what_is_in_hand_is_open() -> None:
    page = page_of(cut_after(whole_job(), b.QuestionAsked, 1, "identifier.choose"))
    assert [status(page, n) for n in ORDER] == ["done"] * 5 + ["now", "later", "later"]
    sheet = render("sheet.html", page)
    folds = re.findall(r'id="part-(\w+)"[^>]*>\s*<details class="fold"( open)?>', sheet)
    assert [name for name, is_open in folds if is_open] == ["runs"]


def test_the_work_is_stamped_when_somebody_says_it_is_done() -> None:
    events = whole_job()
    asked = cut_after(events, b.QuestionAsked, 1, "work.done")
    assert page_of(asked).view("work").stamp == ""
    answered = events[: len(asked) + 1]
    assert isinstance(answered[-1].body, b.QuestionAnswered)
    assert page_of(answered).view("work").stamp == "done"
    assert in_hand(fold(answered)) == "found"


def test_a_stop_at_the_work_does_not_stamp_it() -> None:
    events = cut_after(whole_job(), b.QuestionAsked, 1, "work.done")
    question = events[-1].body.question  # type: ignore[union-attr]
    from asleft.model.question import Answer

    job = Job("J-1")
    for event in events:
        job.add(event.body)
    job.add(b.QuestionAnswered("job", Answer(question.id, question.choices[-1], "M. Okafor")))
    assert page_of(job.done()).view("work").stamp == ""


def test_a_folded_picture_says_its_codes_once() -> None:
    view = page_of(whole_job()).view("found")
    assert view.line == "▲ P2176-00 engine"
    assert view.tone == "codes"


def test_after_the_end_the_verdict_and_the_open_items_stand_at_the_top() -> None:
    sheet = text_of(render("sheet.html", page_of(whole_job())))
    top = sheet[: sheet.index("As received")]
    assert "Not released" in top
    assert "PASS" in top
    assert "idle relearn: the book has no procedure for this car" in top


def test_a_failed_job_says_fail_and_not_released_before_anything_else() -> None:
    events = fail_job()
    sheet = text_of(render("sheet.html", page_of(events)))
    top = sheet[: sheet.index("As received")]
    assert "FAIL" in top
    assert "Not released" in top
    failed = [j for r in fold(events).runs.values() for j in r.judgements if j.verdict is Verdict.FAIL]
    assert all(j.sentence is not None and j.sentence.text in top for j in failed)


def test_cannot_tell_says_why_and_what_would_settle_it() -> None:
    sheet = text_of(render("sheet.html", page_of(replay_job())))
    assert "CANNOT TELL" in sheet
    assert "What would settle it: thirty seconds of warm idle" in sheet
    assert "replay of a recording" in sheet


def test_an_effect_nobody_knows_about_stands_at_the_top() -> None:
    sheet = text_of(render("sheet.html", page_of(interrupted_job(), NOBODY)))
    top = sheet[: sheet.index("As received")]
    assert "Stopped" in top
    assert "Nobody knows yet whether it happened" in top


def test_a_sentence_of_a_criterion_stands_once() -> None:
    state = fold(whole_job())
    runs = render("parts/runs.html", page_of(whole_job()))
    judgement = next(iter(state.runs.values())).judgements[0]
    assert judgement.sentence is not None
    assert html.unescape(runs).count(judgement.sentence.text) == 1


@pytest.mark.parametrize("kind", list(QuestionKind))
def test_every_kind_of_question_has_its_form(kind: QuestionKind) -> None:
    question = Question("q1", kind, say("x", "Ask {n}", n="this"), ("yes", "stop here"), (), "key-on", ("31 01",))
    page = page_of(Job("J-1").add(opened()).add(b.QuestionAsked("job", question)).done())
    form = render("parts/next.html", page)
    assert 'data-question="q1"' in form
    assert ("hold to yes" in form) is (kind is QuestionKind.EFFECT)
    assert ('name="text" autocomplete' in form) is (kind is QuestionKind.TYPE)
    assert "the bench driver does it" in form
    assert "stop here" in form


def test_no_bench_driver_is_offered_at_a_vehicle() -> None:
    question = Question("q1", QuestionKind.ACT, say("x", "Key on"), ("done", "stop here"), (), "key-on")
    events = Job("J-1").add(opened()).add(b.QuestionAsked("job", question)).done()
    form = render("parts/next.html", page_of(events, Engine(True, "vehicle", job="J-1", bench=False)))
    assert "bench driver" not in form


def test_hostile_text_is_text() -> None:
    sheet = render("sheet.html", page_of(hostile_job(NASTY)))
    assert "<script>alert" not in sheet
    assert "<img" not in sheet
    assert "49" not in re.findall("\u202e(.{0,4})", sheet)


def test_a_problem_is_a_page_with_cause_and_advice() -> None:
    page = text_of(Pages.problem("That did not work", "why <b>", "do this"))
    assert "why <b>" in page
    assert "do this" in page


def test_a_figure_can_stand_twice_on_a_page() -> None:
    svg = (
        '<svg aria-labelledby="t0123abcd d0123abcd"><title id="t0123abcd">a</title><desc id="d0123abcd">b</desc></svg>'
    )
    again = placed(svg, "live")
    assert not set(re.findall(r'id="(\w+)"', svg)) & set(re.findall(r'id="(\w+)"', again))
    assert 'aria-labelledby="tlive0123abcd dlive0123abcd"' in again
    assert placed("", "live") == ""


def test_codes_of_errors_are_not_what_a_person_reads() -> None:
    """The words of our own refusals carry no code in brackets."""
    from asleft.web.answers import Given, unfit

    assert not any(f"[{code.value}]" in unfit(Given("q", "x", ""), None) for code in Code)
    said = RunError(Code.STOPPED_BY_PERSON).sentence()
    assert said.endswith("[stopped-by-person]")
    assert spoken(f"learn: {said} Change it.") == f"learn: {said.removesuffix(' [stopped-by-person]')} Change it."
    assert spoken("reading [2] of [x]") == "reading [2] of [x]"


def text_of(page: str) -> str:
    """What a person reads, roughly: tags away, spaces folded."""
    bare = re.sub(r"<(script|style|head)\b.*?</\1>", " ", page, flags=re.S)
    return re.sub(r"\s+", " ", html.unescape(re.sub(r"<[^>]+>", " ", bare)))
