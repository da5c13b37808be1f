"""Exercises: the ideal player scores full marks, a mistake loses its points and no others, the dangerous one fails."""

from __future__ import annotations

import re
import shlex
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory

import msgspec
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from typer.testing import CliRunner

from asleft.cli import run
from asleft.cli.app import app
from asleft.event import body as b
from asleft.event.envelope import Event
from asleft.model.errors import InputError
from asleft.practice.exercise import Goal, Item, load_exercise, names, read_exercise
from asleft.practice.levels import Level, hint_for, may_ask
from asleft.practice.players import IDEAL, Worked, hidden_sizes, mistakes_of, work
from asleft.practice.recorded import as_text, exercise_from
from asleft.practice.scoring import WEIGHTS, Sheet, score

#: Cheap in processor time: under a second at the bench.
QUICK = ("yaw-sloping-floor", "steering-toe")
EVERY = [(name, player) for name in names() for player in (IDEAL, *mistakes_of(load_exercise(name)))]
PAGE = Path(__file__).parents[3] / "docs" / "write-an-exercise.md"
#: Players of the short tests; all others in the full run.
SHORT = (
    ("yaw-sloping-floor", IDEAL),
    ("yaw-sloping-floor", "picture-missed"),
    ("yaw-sloping-floor", "not-gone-into"),
    ("steering-toe", IDEAL),
    ("steering-toe", "walked-away"),
    ("used-module", "unsupported"),
)
#: Without these a record is no history at all.
_BEGINS = (b.QuestionAsked, b.IntentWritten)


@cache
def worked(name: str, player: str = IDEAL, seed: int = 1) -> Worked:
    with TemporaryDirectory() as folder:
        return work(load_exercise(name), Path(folder), player=player, seed=seed)


def sheet(one: Worked) -> Sheet:
    return score(one.exercise, one.events, one.truth)


def short(name: str, player: str) -> object:
    return pytest.param(name, player, marks=() if (name, player) in SHORT else pytest.mark.full)


def test_each_exercise_has_five_mistakes_and_a_dangerous_player() -> None:
    assert len(names()) >= 9
    for name in names():
        mistakes = mistakes_of(load_exercise(name)).values()
        assert sum(not m.dangerous for m in mistakes) >= 5
        assert any(m.dangerous for m in mistakes)
        assert all(m.loses for m in mistakes if not m.dangerous)


@pytest.mark.parametrize(("name", "player"), [short(*one) for one in EVERY])
def test_a_player_gets_what_is_due(name: str, player: str) -> None:
    found = sheet(worked(name, player))
    if player == IDEAL:
        assert (found.total, found.unsafe, found.passed) == (100.0, (), True), found
        return
    mistake = mistakes_of(load_exercise(name))[player]
    if mistake.dangerous:
        assert found.unsafe
        assert not found.passed
        return
    lost = {i.value: WEIGHTS[i] - found.points(i) for i in Item if found.points(i) != WEIGHTS[i]}
    assert lost == mistake.loses
    assert not found.unsafe


def test_thirty_variants_differ_and_come_again() -> None:
    for name in names():
        exercise = load_exercise(name)
        drawn = [hidden_sizes(exercise, seed) for seed in range(30)]
        assert drawn == [hidden_sizes(exercise, seed) for seed in range(30)]
        for hidden in exercise.hidden:
            sizes = [one[hidden.fault] for one in drawn]
            assert hidden.low is None or len(set(sizes)) > 5
            assert all((hidden.low or 0) <= size <= (hidden.high or 0) for size in sizes)


@pytest.mark.parametrize(
    "seed", [pytest.param(seed, marks=() if seed in (2, 3) else pytest.mark.full) for seed in range(2, 202)]
)
def test_variants_by_seed(seed: int) -> None:
    """Each is a whole job on another car: 200 in the full run, two in the short one."""
    one = worked(QUICK[seed % len(QUICK)], seed=seed)
    assert sheet(one).total == 100.0
    worked.cache_clear()


def without(events: tuple[Event, ...], left_out: frozenset[int]) -> tuple[Event, ...]:
    return tuple(e for n, e in enumerate(events) if n not in left_out or isinstance(e.body, _BEGINS))


@pytest.mark.parametrize(
    ("name", "every"), [(QUICK[0], 4), *(pytest.param(name, 1, marks=pytest.mark.full) for name in names())]
)
def test_no_event_taken_away_raises_the_score(name: str, every: int) -> None:
    one = worked(name)
    full, lost = sheet(one).total, 0
    for number in range(0, len(one.events), every):
        total = score(one.exercise, without(one.events, frozenset((number,))), one.truth).total
        assert total <= full
        lost += total < full
    assert lost >= 8 / every


@settings(max_examples=10, deadline=None)
@given(st.data())
def test_no_events_taken_away_raise_the_score(data: st.DataObject) -> None:
    """Not of the ideal player, not of one who made a mistake."""
    one = worked(*data.draw(st.sampled_from((SHORT[0], SHORT[2], SHORT[4]))))
    gone = data.draw(st.frozensets(st.integers(0, len(one.events) - 1), max_size=12))
    assert score(one.exercise, without(one.events, gone), one.truth).total <= sheet(one).total


@pytest.mark.parametrize("kind", [b.PictureTaken, b.CodesScreened, b.PlanMade, b.RunStarted, b.RunEnded, b.JobClosed])
def test_no_points_without_the_process(kind: type) -> None:
    one = worked(QUICK[0])
    rest = tuple(e for e in one.events if not isinstance(e.body, kind))
    assert score(one.exercise, rest, one.truth).total < 100.0


def test_an_empty_record_has_no_points() -> None:
    one = worked(QUICK[0])
    assert score(one.exercise, (), one.truth).total == 0.0


def test_levels_give_fewer_hints_down_to_none() -> None:
    exercise = load_exercise("yaw-sloping-floor")
    first, second = "Lay the digital level on the floor", "Turn the level across the car."
    assert hint_for(exercise, Level.FOLLOW, first)
    assert not hint_for(exercise, Level.ASK, first)
    assert hint_for(exercise, Level.ASK, first, (first,))
    assert may_ask(exercise, Level.ONE, second, ())
    assert not may_ask(exercise, Level.ONE, second, (first,))
    assert not hint_for(exercise, Level.ONE, second, (first, second))
    assert not may_ask(exercise, Level.EXAM, first, ())
    assert not hint_for(exercise, Level.EXAM, first, (first,))


def test_an_exercise_made_of_a_record_is_worked_to_full_marks(tmp_path: Path) -> None:
    one = worked("yaw-sloping-floor")
    made = exercise_from(one.exercise, one.events, one.truth, "from-mine", "As I did it")
    path = tmp_path / "from-mine.yaml"
    path.write_text(as_text(made), encoding="utf-8")
    again = read_exercise(path)
    assert again == made
    assert again.goal is Goal.NOT_BEGUN
    assert again.hidden[0].low == again.hidden[0].high == one.truth.hidden["floor slopes"]
    assert again.right.answers["Turn the level across the car. Left side up is positive. (°)"] == ("1.7",)
    played = work(again, tmp_path, seed=1)
    assert score(again, played.events, played.truth).total == 100.0


def test_a_record_without_the_run_makes_no_exercise() -> None:
    one = worked("steering-toe", "walked-away")
    with pytest.raises(InputError, match="no run of"):
        exercise_from(one.exercise, one.events, one.truth, "x", "x")


def test_a_wrong_file_says_where(tmp_path: Path) -> None:
    path = tmp_path / "bad.yaml"
    path.write_text("id: bad\ntitel: Bad\n", encoding="utf-8")
    with pytest.raises(InputError, match="title") as caught:
        read_exercise(path)
    assert "bad.yaml:2" in caught.value.sentence()


def test_the_page_on_writing_exercises_runs(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    text = PAGE.read_text(encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    (content,) = re.findall(r"```yaml\n(.*?)```", text, re.DOTALL)
    Path("my-sloping-floor.yaml").write_text(content, encoding="utf-8")
    (commands,) = re.findall(r"```sh\n(.*?)```", text, re.DOTALL)
    for line in commands.splitlines():
        assert run(shlex.split(line)[1:]) == 0, line
    page = Path("debrief.html").read_text(encoding="utf-8")
    assert "floor slopes" in page
    assert "Good: the picture first." in page
    assert "100 of 100, passed" in page
    assert b"Good: the picture first." not in Path("out/record.zip").read_bytes()
    assert msgspec.yaml.decode(Path("as-i-did.yaml").read_bytes())["goal"] == "not-begun"


def at_the_terminal(out: Path, answers: str, *more: str) -> str:
    command = ["practice", "run", "yaw-sloping-floor", "--out", str(out), *more]
    said = CliRunner().invoke(app, command, input=answers)
    assert said.exit_code == 0, said.output
    return said.output


def test_at_the_terminal_a_number_typed_is_the_value(tmp_path: Path) -> None:
    said = at_the_terminal(tmp_path, "\n" * 7 + "!read_level\n0\n?\n1.7\nstop here\n2\n\n", "--level", "one")
    assert re.search(r"'across': 1\.[78]", said)  # the slope drawn for variant 1 is 1.745
    assert said.count("hint: ") == 1
    assert "100 of 100, passed" in said


@pytest.mark.full
def test_an_exam_shows_no_hints(tmp_path: Path) -> None:
    assert "hint" not in at_the_terminal(tmp_path, "\n" * 7 + "0\n1.7\nstop here\n2\n\n", "--level", "exam")
