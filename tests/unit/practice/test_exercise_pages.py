"""Practice on the page without a process: list, what is refused, hints by level, debrief and remarks."""

from __future__ import annotations

from pathlib import Path

import pytest

from asleft.event import body as b
from asleft.event.envelope import Event
from asleft.model.question import Question, QuestionKind
from asleft.practice.exercise import load_exercise, names
from asleft.practice.kept import Kept, exercises_done, read_kept, write_kept
from asleft.practice.remarks import Looked
from asleft.practice.scoring import Grading
from asleft.record.journal import open_journal
from kit.asgi import get, post
from kit.events import demo_job, say
from kit.gallery import add, bodies
from kit.record_kit import HandClock, Source

ASKED = "Turn the level across the car. Left side up is positive. (°)"
NASTY = "<script>alert(1)</script>"


def keep(folder: Path, job: str, level: str, events: tuple[Event, ...]) -> None:
    """A worked exercise as its process leaves it."""
    with open_journal(folder) as journals:
        journal = journals.create(job, source=Source(), clock=HandClock())
        for body in bodies(events):
            add(journal, body)
        if level != "closed":
            add(journal, b.QuestionAsked("job", Question("q9", QuestionKind.TYPE, say("x", ASKED), ("stop here",))))
    truth = Grading("yaw-sloping-floor", 1, "follow" if level == "closed" else level, {"floor slopes": 1.7})
    write_kept(folder, job, Kept(truth, 12.0, (Looked(61.0, "Lay the level across the car", NASTY),)))


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    base = tmp_path_factory.mktemp("practice-pages")
    for level in ("follow", "ask", "exam"):
        keep(base, f"E-{level}", level, demo_job()[:1])
    keep(base, "E-closed", "closed", demo_job())
    return base


def test_the_page_lists_every_exercise_and_those_done(folder: Path) -> None:
    text = get(folder, "/practice/").text
    assert all(load_exercise(name).title in text for name in names())
    assert text.index("Idle high after cleaning") < text.index("A used module")
    assert all(f"/practice/debrief/{job}" in text for job in exercises_done(folder))


@pytest.mark.parametrize(
    ("path", "form", "status"),
    [
        ("/practice/start/idle-high", {"speed": "1000"}, 409),
        ("/practice/start/idle-high", {"level": "easy"}, 409),
        ("/practice/start/idle-high", {"seed": "first"}, 400),
        ("/practice/start/no-such", {}, 409),
        ("/practice/start/idle-high", {"token": "x"}, 403),
        ("/practice/at/E-exam/hint", {}, 400),
        ("/practice/debrief/E-closed/comment", {"event": "99999", "text": "x", "by": "x"}, 400),
    ],
)
def test_what_cannot_be_done_is_refused_in_words(folder: Path, path: str, form: dict[str, str], status: int) -> None:
    answer = post(folder, path, **form)
    assert answer.status_code == status
    assert "<p" in answer.text


def test_the_sheet_shows_hints_by_level(folder: Path) -> None:
    hint = load_exercise("yaw-sloping-floor").hints["Turn the level across"]
    assert hint in get(folder, "/practice/at/E-follow").text
    assert hint not in get(folder, "/practice/at/E-exam").text
    panel = get(folder, "/practice/at/E-ask/panel").text
    assert hint not in panel
    assert "Ask for a hint" in panel
    assert post(folder, "/practice/at/E-ask/hint").status_code == 303
    assert hint in get(folder, "/practice/at/E-ask/panel").text
    assert read_kept(folder, "E-ask").asked == (ASKED,)
    assert "Ask for a hint" not in get(folder, "/practice/at/E-exam/panel").text


def test_the_debrief_shows_the_truth_what_was_looked_at_and_remarks(folder: Path) -> None:
    said = post(folder, "/practice/debrief/E-closed/comment", event="1", text=NASTY, by="the trainer")
    assert said.status_code == 303
    text = get(folder, "/practice/debrief/E-closed").text
    assert "floor slopes: 1.7" in text
    assert "Best order" in text
    assert "the trainer: &lt;script&gt;" in text
    assert NASTY not in text
    assert "Lay the level across the car" in text
    assert "not passed" in text


def test_a_job_that_is_no_exercise_has_no_debrief(folder: Path) -> None:
    assert get(folder, "/practice/debrief/J-1").status_code == 404
    assert get(folder, "/practice/at/..%2Fkey").status_code == 404
