"""Verdict page, another order, documents and pauses: what is shown is what is on the record."""

from __future__ import annotations

import html
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from asleft.book.shelf import load_book
from asleft.event import body as b
from asleft.event.fold import fold
from asleft.job.course import Course, chosen_order
from asleft.job.moving import try_order
from asleft.job.planning import needs_and_plan
from asleft.job.settings import BOOK
from asleft.model.errors import Code, InputError
from asleft.model.question import Question, QuestionKind
from asleft.model.verdict import Verdict
from asleft.web.guard import LONGEST_BODY
from kit.asgi import get, post
from kit.events import Job, opened, say, started
from kit.evidence import HAND, TESTER, evidence_job
from kit.gallery import StandIn, bodies, cut_after, free_job, store, whole_job

ATTACH = Question(
    "q9", QuestionKind.TYPE, say("x", "Attach the report"), ("it gives no report", "stop here"), act="attach"
)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("beside")
    store(folder, "J-1", bodies(evidence_job()))
    store(folder, "J-2", bodies(whole_job()))
    job = Job("J-3")
    job.add(opened(), b.QuestionAsked("r", ATTACH))
    store(folder, "J-3", bodies(job.done()))
    store(folder, "J-4", bodies(cut_after(whole_job(), b.QuestionAsked, 1, "work.done")))
    store(folder, "J-5", bodies(free_job()))
    return folder


@pytest.fixture
def engine(folder: Path) -> Iterator[StandIn]:
    with StandIn(folder) as engine:
        yield engine


def text(answer: str) -> str:
    return re.sub(r"\s+", " ", html.unescape(re.sub(r"<[^>]+>", " ", answer)))


def test_the_verdict_page_has_number_line_sentence_causes_what_next_and_all_attempts(folder: Path) -> None:
    page = get(folder, f"/job/J-1/verdict/{TESTER}").text
    told = text(page)
    assert "? CANNOT TELL" in told
    assert "Idle 44 rpm off its target." in told
    assert page.count('class="fig"') >= 2, "a number line for each attempt"
    assert "Record again with a warm engine, loads off." in told.partition("In numbers")[0]
    assert "engine not warm" in told
    assert "Not told yet: idle at its target ? CANNOT TELL 44 rpm" in told
    assert (
        "Measured once more, declared beforehand by M. Okafor: the fan had come on. Changed in between: fan off."
        in told
    )
    assert "Idle 74 rpm off its target." in told
    assert "not watched" in told
    assert "screen.jpg" in told


def test_what_a_run_by_hand_and_beside_left_stands_on_the_sheet(folder: Path) -> None:
    told = text(get(folder, "/job/J-1").text)
    for words in (
        "by hand",
        "beside the other tester",
        "By hand, attempt 1",
        "Pedal up came 0.4 s too late",
        "marked by M. Okafor",
    ):
        assert words in told
    assert "2 min 20 s not watched the other tester was on the plug" in told
    assert "212 kB attached screen.jpg" in told


def test_a_run_that_is_not_there_is_not_found(folder: Path) -> None:
    assert get(folder, "/job/J-1/verdict/nope").status_code == 404
    assert get(folder, "/job/nope/verdict/x").status_code == 404
    assert get(folder, f"/job/J-1/verdict/{HAND}").status_code == 200


# -- the order -------------------------------------------------------------------------------------------------------


def test_the_best_order_is_the_plans_own(folder: Path) -> None:
    state = fold(whole_job())
    assert state.plan is not None
    tried = try_order(state)
    assert tried.best
    assert tried.order == tuple(step.function for step in state.plan.steps)
    assert tried.plan is not None
    _, now = needs_and_plan(state, load_book(BOOK))
    assert (tried.plan.active_min, tried.plan.elapsed_min) == (now.active_min, now.elapsed_min)
    page = get(folder, "/job/J-2/order").text
    assert "This is the best order" in page
    assert ("other ones than when the plan was made" in page) == (now.active_min != state.plan.active_min)


def test_every_move_says_what_it_costs_or_why_it_is_barred(folder: Path) -> None:
    page = get(folder, "/job/J-2/order").text
    moves = [html.unescape(m) for m in re.findall(r'class="move \w+" href="([^"]+)"', page)]
    assert len(moves) == 2 * (len(try_order(fold(whole_job())).order) - 1)
    barred = 0
    for address in moves:
        moved = get(folder, address)
        assert moved.status_code == 200
        told = text(moved.text)
        barred += "cannot be worked" in told
        assert ("must come before" in told) == ("Not possible" in told or "Costs rework" in told)
        assert "min of work" in moved.text
    assert barred >= 2


def test_an_order_that_is_not_the_plans_is_refused(folder: Path) -> None:
    for order in ("nope", "idle-relearn", "idle-relearn,idle-relearn,planned-clear,key-cycles,as-left"):
        assert get(folder, f"/job/J-2/order?order={order}").status_code == 400, order
    assert get(folder, "/job/J-4/order").status_code == 404, "no plan yet"


def test_trying_an_order_writes_nothing(folder: Path) -> None:
    before = {p: p.read_bytes() for p in folder.rglob("*") if p.is_file() and "J-2" in p.name}
    get(folder, "/job/J-2/order?order=idle-relearn,throttle-stop-learn,planned-clear,key-cycles,as-left")
    assert before == {p: p.read_bytes() for p in before}


LEARN, RAIN, IDLE, END = "throttle-stop-learn", "rain-light-sensor", "idle-relearn", "planned-clear,key-cycles,as-left"
OTHER = f"{LEARN},{IDLE},{RAIN},{END}"


def test_an_allowed_order_can_be_taken_while_the_job_is_in_hand(folder: Path, engine: StandIn) -> None:
    page = get(folder, f"/job/J-5/order?order={OTHER}").text
    assert "Take this order" not in page
    assert "taken while the job is in hand" in page
    engine.job = "J-5"
    assert "Take this order" not in get(folder, "/job/J-5/order").text, "it is the plan's"
    assert "Take this order" not in get(folder, f"/job/J-5/order?order={IDLE},{LEARN},{RAIN},{END}").text, "barred"
    assert "Take this order" in get(folder, f"/job/J-5/order?order={OTHER}").text
    given = {"order": OTHER, "by": "M. Okafor", "reason": "the windscreen waits"}
    sent = post(folder, "/job/J-5/order", **given)
    assert sent.status_code == 303
    assert sent.headers["location"] == "/job/J-5#part-plan"
    (told,) = engine.told
    assert told["order"] == OTHER.split(",")
    assert (told["command"], told["by"], told["reason"]) == ("choose-order", "M. Okafor", "the windscreen waits")
    assert post(folder, "/job/J-5/order", **given, token="x").status_code == 403


def test_an_order_that_the_engine_refuses_comes_back_with_the_reason(folder: Path, engine: StandIn) -> None:
    engine.job = "J-5"
    engine.refusal = InputError(Code.ORDER_REFUSED, "<b>begun</b>")
    sent = post(folder, "/job/J-5/order", order=OTHER, by="M. Okafor", reason="x")
    assert sent.status_code == 409
    assert "&lt;b&gt;begun&lt;/b&gt;" in sent.text
    assert sent.text.count("cannot be worked in this order") == 1
    assert re.findall(r'data-name="([^"]+)"', sent.text) == OTHER.split(",")


def test_an_order_that_was_chosen_stands_with_who_and_why_and_what_has_begun_does_not_move(folder: Path) -> None:
    state = fold(free_job())
    chosen = chosen_order(state, Course(), OTHER.split(","), "M. Okafor", "the windscreen waits")
    events = [*bodies(free_job()), chosen, started()]
    store(folder, "J-6", events)
    sheet, page = text(get(folder, "/job/J-6").text), get(folder, "/job/J-6/order").text
    assert "Order chosen by M. Okafor: the windscreen waits" in sheet
    assert "at this place because M. Okafor chose it" in sheet
    assert re.findall(r'data-name="([^"]+)"', page) == OTHER.split(",")
    first = page.split("data-name=")[1]
    assert "begun" in first
    assert 'class="move' not in first
    assert "earlier" not in page.split("data-name=")[2].split("later")[0]
    assert re.findall(r'data-name="([^"]+)"', get(folder, "/job/J-6/order?order=best").text)[1] == RAIN


# -- documents and pauses --------------------------------------------------------------------------------------------


def test_no_report_is_a_button_and_a_document_is_a_file(folder: Path, engine: StandIn) -> None:
    engine.job = "J-3"
    page = get(folder, "/job/J-3").text
    assert 'type="file"' in page
    assert 'action="/job/J-3/attach" enctype="multipart/form-data"' in page
    assert 'value="it gives no report"' in page


def test_a_document_becomes_the_answer(folder: Path, engine: StandIn) -> None:
    engine.job = "J-3"
    shot = {"document": ("screen.jpg", b"\xff\xd8" + b"x" * 200_000, "image/jpeg")}
    sent = post(folder, "/job/J-3/attach", files=shot, question="q9", by="M. Okafor")
    assert sent.status_code == 303, sent.text[:300]
    assert [t["command"] for t in engine.told] == ["attach", "answer"]
    assert engine.told[0]["name"] == "screen.jpg"
    assert engine.told[1]["text"] == "sha256:stand-in"


def test_nothing_chosen_no_answer_too_large_and_a_question_gone(folder: Path, engine: StandIn) -> None:
    engine.job = "J-3"
    assert post(folder, "/job/J-3/attach", question="q9", by="M. Okafor").status_code == 409
    assert post(folder, "/job/J-3/attach", question="q8", by="M. Okafor", text="it gives no report").status_code == 409
    large = {"document": ("a.jpg", b"x" * 800_000, "image/jpeg")}
    assert post(folder, "/job/J-3/attach", files=large, question="q9", by="M. Okafor").status_code == 413
    assert engine.told == []
    none = post(folder, "/job/J-3/attach", question="q9", by="M. Okafor", text="it gives no report")
    assert none.status_code == 303
    assert engine.told[0]["text"] == "it gives no report"
    assert post(folder, "/job/J-3/answer", question="q9", by="M", text="x" * LONGEST_BODY).status_code == 413


def test_a_pause_goes_to_the_engine_for_the_job_in_hand(folder: Path, engine: StandIn) -> None:
    engine.job = "J-1"
    assert post(folder, "/job/J-1/pause").status_code == 303
    assert engine.told == [{"command": "pause", "job": "J-1"}]
    assert post(folder, "/job/J-1/pause", token="x").status_code == 403


def test_both_attempts_are_kept_by_the_fold() -> None:
    """The page shows what the fold keeps: the first attempt whole, the second as the one that stands."""
    run = fold(evidence_job()).runs[TESTER]
    assert [j.verdict for a in run.earlier for j in a.judgements] == [Verdict.FAIL]
    assert [j.verdict for j in run.judgements] == [Verdict.CANNOT_TELL]
