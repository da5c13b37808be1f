"""What a report says, before any layout."""

from __future__ import annotations

import re
from collections.abc import Iterator

import msgspec
import pytest

from asleft.event import body as b
from asleft.event.envelope import Event
from asleft.model.errors import Code, RecordError
from asleft.model.origin import Origin
from asleft.model.verdict import RunEnd, Verdict
from asleft.report.parts import Facts, Figures, Line, Lines, Row, Table, View
from asleft.report.view import view
from kit import events as kit

JOBS = {
    "demo": kit.demo_job,
    "full": kit.full_job,
    "fail": kit.fail_job,
    "replay": kit.replay_job,
    "interrupted": kit.interrupted_job,
    "hostile": lambda: kit.hostile_job("42 #let"),
}


def seen(events: tuple[Event, ...]) -> View:
    return view(events, kit.head_hash(events), generated="2031-04-17T12:00:00Z")


def blocks(v: View) -> Iterator[Table | Facts | Lines | Figures]:
    f = v.front
    yield from (f.facts, f.done, Lines("", (f.result,)), f.functions, f.numbers, f.codes, f.still_open, f.statement)
    for section in v.sections:
        yield from section.blocks


def lines(v: View) -> Iterator[tuple[str, tuple[int, ...]]]:
    """Every line with its event numbers."""
    for block in blocks(v):
        match block:
            case Table():
                yield from ((" ".join(c.text for c in r.cells), r.events) for r in block.rows)
            case Facts():
                yield from ((f.value.text, f.events) for f in block.rows)
            case Lines():
                yield from ((line.text, line.events) for line in block.rows)
            case Figures():
                yield from ((f.caption, f.events) for f in block.figures)


def find(rows: tuple[Row, ...], word: str) -> Row:
    return next(r for r in rows if word in r.cells[0].text)


@pytest.mark.parametrize("name", JOBS)
def test_every_number_names_its_events(name: str) -> None:
    """A line that shows a digit from the record says which events it came from; they are events of this job."""
    job = JOBS[name]()
    v = seen(job)
    ours = {
        v.head_hash,
        *(
            line.text
            for s in v.sections[-1:]
            for b_ in s.blocks
            for line in getattr(b_, "rows", ())
            if isinstance(line, Line)
        ),
    }
    for text, events in lines(v):
        assert set(events) <= set(range(1, len(job) + 1)), text
        if re.search(r"\d", text) and text not in ours:
            assert events, text


def test_a_verdict_is_traced_to_the_event_that_judged_it() -> None:
    job = kit.demo_job()
    line = find(seen(job).front.numbers.rows, "range of the rest reading")
    assert [type(job[n - 1].body) for n in line.events] == [b.CriterionJudged]


def test_key_numbers_as_received_found_left() -> None:
    v = seen(kit.demo_job())
    stop = find(v.front.numbers.rows, "learned lower stop")
    assert [c.text for c in stop.cells] == [
        "learned lower stop, engine (%)",
        "14.9",
        "14.9",
        "14.1",
        "reported",
        "–",
        "–",
    ]
    speed = find(v.front.numbers.rows, "engine speed")
    assert [c.text for c in speed.cells[1:6]] == ["744", "1011", "752", "reported", "6"]
    rest = find(v.front.numbers.rows, "range of the rest reading")
    assert [c.text for c in rest.cells[1:]] == ["", "", "0.4", "≤ 1.2 (ours)", "0.3", "PASS"]


def test_a_fail_is_never_dressed_up() -> None:
    v = seen(kit.fail_job())
    assert v.front.result.mark == "fail"
    assert "FAILED" in v.front.result.text
    assert find(v.front.functions.rows, "lower-stop").cells[2].text == "FAIL"
    assert any(line.mark == "fail" and "FAIL" in line.text for line in v.front.still_open.rows)
    assert "passed" not in v.front.result.text


def change(events: tuple[Event, ...], kind: type, **values: object) -> tuple[Event, ...]:
    """The same events, one kind of body changed: a record that contradicts itself (the chain is not looked at here)."""
    return tuple(
        msgspec.structs.replace(e, body=msgspec.structs.replace(e.body, **values)) if isinstance(e.body, kind) else e
        for e in events
    )


def test_a_pass_that_its_criteria_do_not_hold_is_shown_as_the_worse() -> None:
    """The record says PASS, a criterion says FAIL: FAIL, and the contradiction is said."""
    v = seen(change(kit.fail_job(), b.RunEnded, verdict=Verdict.PASS))
    cells = find(v.front.functions.rows, "lower-stop").cells
    assert cells[2].text == "FAIL"
    assert "PASS" in cells[3].text
    assert "worse" in cells[3].text


def test_a_pass_without_any_criterion_is_cannot_tell() -> None:
    job = tuple(e for e in kit.demo_job() if not isinstance(e.body, b.CriterionJudged | b.JobClosed))
    job = tuple(msgspec.structs.replace(e, sequence=n) for n, e in enumerate(job, 1))
    assert find(seen(job).front.functions.rows, "lower-stop").cells[2].text == "CANNOT TELL"


def test_a_run_that_was_stopped_is_no_pass() -> None:
    v = seen(change(kit.demo_job(), b.RunEnded, end=RunEnd.STOPPED))
    assert find(v.front.functions.rows, "lower-stop").cells[2].text == "CANNOT TELL"


def test_a_job_that_is_not_closed_is_headed_draft() -> None:
    v = seen(kit.interrupted_job())
    assert v.draft
    assert "Not finished – draft" in v.title
    assert find(v.front.functions.rows, "lower-stop").cells[2].text == "UNDER WAY"
    assert "nobody knows yet" in v.front.still_open.rows[0].text
    assert any("link to the car was lost" in n.text for n in v.notes)
    assert not any(f.label == "Released" for f in v.front.statement.rows)


def test_a_picture_that_was_not_taken_says_so_with_its_reason() -> None:
    v = seen(kit.replay_job())
    taken = next(s for s in v.sections if s.title == "The three pictures").blocks[0]
    assert isinstance(taken, Facts)
    assert [f.value.text for f in taken.rows] == [
        "not taken: a recording has no modules to ask",
        "not taken: a recording has no modules to ask",
        "not taken; the record gives no reason",
    ]
    assert [c.text for c in v.front.codes.rows[0].cells] == ["not taken"] * 3


def test_codes_not_read_are_not_called_none() -> None:
    cells = seen(kit.demo_job()).front.codes.rows[0].cells
    assert "P2176" in cells[1].text
    assert all("not read from: cluster" in c.text for c in cells)


def test_a_picture_without_modules_does_not_say_that_there_were_no_codes() -> None:
    """A recording of values asks no module: its picture says nothing about codes."""
    job = kit.Job("r", Origin.REPLAY)
    job.add(kit.opened(Origin.REPLAY), b.PictureTaken(kit.Picture(kit.FOUND, 0.0, 1.0)))
    v = seen(job.done())
    assert v.front.codes.rows[0].cells[1].text == "not read"
    assert v.subtitle == "Report on a recording"


def test_cannot_tell_says_why_and_what_would_settle_it() -> None:
    v = seen(kit.replay_job())
    text = " ".join(text for text, _ in lines(v))
    notes = " ".join(r.note for t in blocks(v) if isinstance(t, Table) for r in t.rows)
    assert "thirty seconds of warm idle" in text
    assert "not enough independent samples, window conditions not met" in notes


@pytest.mark.parametrize(
    ("job", "words", "mark"),
    [
        (kit.demo_job(Origin.BENCH), "BENCH – simulated car", True),
        (kit.replay_job(), "REPLAY of a recording", True),
        (kit.demo_job(Origin.VEHICLE), "vehicle", False),
    ],
)
def test_origin_is_said_and_marked(job: tuple[Event, ...], words: str, mark: bool) -> None:
    v = seen(job)
    assert v.origin == words
    assert (v.watermark == words) is mark
    assert bool(v.watermark) is mark


def test_one_bench_event_marks_the_whole_report() -> None:
    job = list(kit.demo_job(Origin.VEHICLE))
    job[5] = msgspec.structs.replace(job[5], origin=Origin.BENCH)
    assert seen(tuple(job)).watermark == "BENCH – simulated car"


def test_vin_typed_against_vin_read() -> None:
    match = {f.label: f.value for f in seen(kit.demo_job()).front.facts.rows}["plate = read"]
    assert match.text == "yes (engine, brakes)"
    other = kit.fictional_vin("16S000999")
    job = kit.demo_job()
    opened = job[0].body
    assert isinstance(opened, b.JobOpened)
    vehicle = msgspec.structs.replace(opened.vehicle, vin=kit.parse_vin(other))
    match = {f.label: f.value for f in seen(change(job, b.JobOpened, vehicle=vehicle)).front.facts.rows}["plate = read"]
    assert match.text == f"NO: engine reads {kit.VIN}"
    assert match.mark == "fail"


def test_events_that_do_not_add_up_to_what_the_closing_says_are_shown() -> None:
    job = kit.demo_job()
    closed = job[-1].body
    assert isinstance(closed, b.JobClosed)
    v = seen(change(job, b.JobClosed, counts={**closed.counts, "noted@1": 2}))
    counts = next(s for s in v.sections if s.title == "Events on the record").blocks[0]
    assert isinstance(counts, Table)
    assert "NOT EQUAL" in find(counts.rows, "noted@1").cells[2].text
    assert find(counts.rows, "job-opened@1").cells[2].text == "1"


def test_every_attempt_stands_on_the_report_not_the_best_one() -> None:
    job = kit.up_to_proof(kit.up_to_effect(kit.up_to_plan(kit.Job())), kit.proof(passes=False))
    job.add(b.RunEnded(kit.RUN, RunEnd.COMPLETED, Verdict.FAIL, kit.say("x", "bad")))
    job.add(kit.started("run-2"), *(b.CriterionJudged("run-2", j) for j in kit.proof()))
    job.add(b.RunEnded("run-2", RunEnd.COMPLETED, Verdict.PASS, kit.say("x", "good")))
    v = seen(job.close("done"))
    rows = [r for r in v.front.functions.rows if "lower-stop" in r.cells[0].text]
    assert [(r.cells[0].text[-16:], r.cells[2].text) for r in rows] == [
        ("(attempt 1 of 2)", "FAIL"),
        ("(attempt 2 of 2)", "PASS"),
    ]
    assert "FAIL" not in v.front.result.text


def test_a_clear_or_a_key_cycle_run_needs_no_proof_of_its_own() -> None:
    """A run that no need asks for and that judged nothing is no CANNOT TELL of the job."""
    events = list(kit.demo_job()[:-1])
    job = kit.Job()
    job.events = events
    closing = msgspec.structs.replace(kit.started("closing"), function="planned-clear", name="the planned clear")
    job.add(closing, b.RunEnded("closing", RunEnd.COMPLETED, None, kit.say("x", "cleared")))
    v = seen(job.close("done"))
    assert v.front.result.mark != "cannot-tell"
    assert find(v.front.functions.rows, "planned clear").cells[2].text == "completed; nothing to prove"


def test_a_required_function_that_was_not_carried_out_takes_the_green_away() -> None:
    """Whatever was carried out passed; the page says in the same sentence that something required was not."""
    v = seen(kit.demo_job())
    assert v.front.result.mark == "open"
    assert "required function was NOT carried out" in v.front.result.text
    needs = tuple(n for n in kit.fold_needs(kit.demo_job()) if n.procedure)
    assert seen(change(kit.demo_job(), b.NeedsFound, needs=needs)).front.result.mark == "pass"


def test_questions_outside_a_run_are_kept() -> None:
    job = kit.Job()
    job.add(kit.opened())
    question = kit.Question(
        "q", kit.QuestionKind.ACT, kit.say("x", "Do the work"), cautions=(kit.say("c", "It is hot"),)
    )
    job.add(b.QuestionAsked("job", question))
    v = seen(job.done())
    text = " ".join(t for t, _ in lines(v))
    assert "Do the work" in text
    assert "It is hot" in text
    assert "A question is not answered" in v.front.still_open.rows[0].text


def test_no_events_or_a_gap_or_another_job_is_no_report() -> None:
    job = kit.demo_job()
    strange = msgspec.structs.replace(job[3], job="another")
    for events in ((), job[1:], (*job[:3], *job[4:]), (*job[:3], strange, *job[4:])):
        with pytest.raises(RecordError) as error:
            view(events, "00", generated="2031-04-17T12:00:00Z")
        assert error.value.code is Code.RECORD_DAMAGED


def test_never_the_car_is_safe() -> None:
    """The scope sentence stands there, and no word that claims more."""
    for make in JOBS.values():
        v = seen(make())
        assert "no other system was assessed" in v.front.statement.rows[0].value.text
        text = msgspec.json.encode(v).decode().lower()
        assert not re.search(r"\bsafe\b|certified|guarantee|roadworthy", text)
