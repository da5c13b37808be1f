"""What a report says, before any layout."""

from __future__ import annotations

import re
from collections.abc import Callable

import msgspec
import pytest

from asleft.event import body as b
from asleft.event.envelope import Event, type_of
from asleft.model.effect import Effect, Settle, Settlement
from asleft.model.errors import Code, RecordError
from asleft.model.origin import Origin
from asleft.model.question import Answer
from asleft.model.verdict import RunEnd, Verdict
from asleft.report.parts import Facts, Line, Row, Table, View
from asleft.report.profile import Profile
from asleft.report.view import view
from kit import events as kit
from kit.evidence import evidence_job
from kit.paper import blocks, lines

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


def all_events(v: View) -> set[int]:
    """Events that a line of the paper names, without the tables of counts and files, which name them all."""
    kept = msgspec.structs.replace(v, sections=v.sections[:-2])
    notes = {n for line in v.notes for n in line.events}
    return notes | {n for _, events in lines(kept) for n in events}


@pytest.mark.parametrize("make", [*JOBS.values(), evidence_job], ids=[*JOBS, "evidence"])
def test_nothing_of_the_record_is_left_out(make: Callable[[], tuple[Event, ...]]) -> None:
    """Every event of every type stands behind some line of the paper."""
    job = make()
    left_out = {type_of(e.body) for e in job if e.sequence not in all_events(seen(job))}
    assert left_out == set()


def section(v: View, title: str) -> str:
    """All words of a section."""
    found = next(s for s in v.sections if title in s.title)
    return msgspec.json.encode(found).decode()


def test_by_hand_and_beside_with_acts_marks_blind_times_papers_and_causes() -> None:
    v = seen(evidence_job())
    hand, beside = section(v, "run idle-relearn-1"), section(v, "run idle-relearn-2")
    for words in (
        "pedal to the floor",
        "6.4 s ± 0.06 s",
        "+1.9 s",
        "at most 0.11 s between two looks",
        "mat in the way",
    ):
        assert words in hand, words
    for words in ("ended as the manual says", "30.0 – 170.0 s", "NOT WATCHED", "screen.jpg", "212400", "ab" * 32):
        assert words in beside, words
    assert "not watched" in section(v, "Exceptions")


def test_a_retest_keeps_both_attempts_and_counts_the_second() -> None:
    v = seen(evidence_job())
    beside = section(v, "run idle-relearn-2")
    assert "Proof – attempt 1 of 2, put aside by the retest, kept" in beside
    assert "Proof – attempt 2 of 2" in beside
    assert "the fan had come on. Changed in between: fan off." in beside
    rows = [r for r in v.front.numbers.rows if "idle at its target" in r.cells[0].text]
    assert [r.cells[-1].text for r in rows] == ["CANNOT TELL"]


def retested(*after: b.Body) -> tuple[Event, ...]:
    """A run that failed and ended, then a declared retest, and what came of it."""
    job = kit.up_to_proof(kit.up_to_effect(kit.up_to_plan(kit.Job())), kit.proof(passes=False))
    job.add(b.RunEnded(kit.RUN, RunEnd.COMPLETED, Verdict.FAIL, kit.say("x", "bad")))
    return job.add(b.RetestDeclared(kit.RUN, 2, "M. Okafor", "a clamp was loose", "clamp tightened"), *after).done()


def test_a_retest_that_was_cut_off_has_no_verdict_yet_and_none_of_the_first_attempt() -> None:
    v = seen(retested())
    assert find(v.front.functions.rows, "lower-stop").cells[2].text == "UNDER WAY"
    assert not [r for r in v.front.numbers.rows if "rest reading" in r.cells[0].text]


def test_what_was_not_measured_again_is_cannot_tell_whatever_the_record_says() -> None:
    first, *_ = kit.proof()
    end = b.RunEnded(kit.RUN, RunEnd.COMPLETED, Verdict.PASS, kit.say("x", "good"))
    v = seen(retested(b.CriterionJudged(kit.RUN, first), end))
    assert find(v.front.functions.rows, "lower-stop").cells[2].text == "CANNOT TELL"
    assert find(v.front.numbers.rows, "range of the rest").cells[-1].text == "PASS"
    assert find(v.front.numbers.rows, "slope").cells[-1].text == "CANNOT TELL"


def test_what_the_procedure_lacks_stands_with_the_run_and_among_the_exceptions() -> None:
    v = seen(kit.demo_job())
    run = section(v, "run run-1")
    assert "What this procedure lacks (" in run
    assert "no way of carrying it out has steps" in run
    assert "procedure not complete" in section(v, "Exceptions")
    german = view(kit.demo_job(), "00", generated="2031-04-17T12:00:00Z", profile=Profile(language="de"))
    assert "kein Weg hat Schritte" in section(german, "run-1")


def test_a_correction_is_said_on_page_one_and_the_wrong_entry_stays() -> None:
    job = kit.demo_job()
    right = b.Corrected(1, "00", kit.say("x", "{text}", text="the order is 31-0418"), "L. Brandt", "typing error")
    wrong = msgspec.structs.replace(job[-1], sequence=len(job) + 1, body=right)
    v = seen((*job, wrong))
    assert v.notes[-1].text.startswith("CORRECTED: one entry")
    words = section(v, "Corrections")
    for part in ("1: job-opened@1", "the order is 31-0418", "typing error", "L. Brandt"):
        assert part in words
    assert "order 31-0417" in msgspec.json.encode(v.front).decode()


def test_what_was_written_old_and_new_in_the_words_consented_to() -> None:
    job = kit.up_to_plan(kit.Job())
    details = ("rain sensor: absent → fitted (neighbour, found)", "to body 6C4/6C5", "now 01 4F 20", "bytes 2E …")
    ask = kit.Question(
        "q-9", kit.QuestionKind.EFFECT, kit.say("write.confirm", "Write now."), ("write",), (), "", details
    )
    intent = msgspec.structs.replace(
        kit.learn_intent(), effect=Effect.WRITES, payload="2E3B30014F21", settle=Settle.READ_BACK, why="coding: write"
    )
    job.add(
        kit.started(), b.QuestionAsked(kit.RUN, ask), b.QuestionAnswered(kit.RUN, Answer("q-9", "write", "M. Okafor"))
    )
    job.add(b.IntentWritten(intent), b.EffectSettled("intent-1", Settlement.DONE, kit.say("x", "read back")))
    table = next(t for t in blocks(seen(job.done())) if isinstance(t, Table) and t.title.startswith("What was written"))
    (line,) = table.rows
    assert [c.text for c in line.cells] == ["engine: coding: write", "01 4F 20", "01 4F 21", "done"]
    assert line.note == details[0]
    assert {type(job.events[n - 1].body) for n in line.events} >= {b.QuestionAsked, b.QuestionAnswered, b.IntentWritten}


def test_a_write_without_its_question_says_that_the_old_bytes_are_not_on_the_record() -> None:
    job = kit.up_to_plan(kit.Job()).add(kit.started())
    intent = msgspec.structs.replace(kit.learn_intent(), effect=Effect.WRITES, payload="2E3B3001")
    v = seen(job.add(b.IntentWritten(intent)).done())
    assert "old bytes not on the record" in section(v, "run run-1")
    assert "NOT KNOWN" in section(v, "run run-1")
