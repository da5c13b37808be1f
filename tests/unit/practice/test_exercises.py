"""Exercises: the ideal player scores full marks, a mistake loses its points and no others, the dangerous one fails."""

from __future__ import annotations

import re
import shlex
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest
from typer.testing import CliRunner

from asleft.cli import run
from asleft.cli.app import app
from asleft.event import body as b
from asleft.model.errors import InputError
from asleft.practice.exercise import Item, load_exercise, names, read_exercise
from asleft.practice.players import IDEAL, Worked, hidden_sizes, mistakes_of, work
from asleft.practice.scoring import WEIGHTS, Sheet, score

#: Cheap in processor time: worked in the short tests.
QUICK = ("yaw-sloping-floor", "steering-toe")
EVERY = [(name, player) for name in names() for player in (IDEAL, *mistakes_of(load_exercise(name)))]
PAGE = Path(__file__).parents[3] / "docs" / "write-an-exercise.md"


@cache
def worked(name: str, player: str = IDEAL, seed: int = 1) -> Worked:
    with TemporaryDirectory() as folder:
        return work(load_exercise(name), Path(folder), player=player, seed=seed)


def sheet(one: Worked) -> Sheet:
    return score(one.exercise, one.events, one.truth)


#: Players of the short tests; all others in the full run.
SHORT = (
    ("yaw-sloping-floor", IDEAL),
    ("yaw-sloping-floor", "picture-missed"),
    ("yaw-sloping-floor", "slow"),
    ("yaw-sloping-floor", "not-gone-into"),
    ("yaw-sloping-floor", "level-made-up"),
    ("steering-toe", IDEAL),
    ("supply-sags", IDEAL),
    ("supply-sags", "unsupported"),
)


def cases() -> list[object]:
    return [pytest.param(*one, marks=() if one in SHORT else pytest.mark.full) for one in EVERY]


@pytest.mark.parametrize(("name", "player"), cases())
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


@pytest.mark.parametrize("seed", range(2, 30))
def test_variants_by_seed(seed: int) -> None:
    name = QUICK[seed % len(QUICK)]
    assert sheet(worked(name, seed=seed)).total == 100.0
    assert hidden_sizes(load_exercise(name), seed) != hidden_sizes(load_exercise(name), seed + 1)


@pytest.mark.full
@pytest.mark.parametrize("seed", range(30, 200))
def test_many_variants(seed: int) -> None:
    assert sheet(worked(QUICK[seed % len(QUICK)], seed=seed)).total == 100.0


@pytest.mark.parametrize("name", [*QUICK, pytest.param("supply-sags", marks=pytest.mark.full)])
def test_no_event_taken_away_raises_the_score(name: str) -> None:
    one = worked(name)
    full = sheet(one).total
    begins = (b.QuestionAsked, b.IntentWritten)  # without these the record is no history at all
    lost = 0
    for left_out in one.events:
        if isinstance(left_out.body, begins):
            continue
        rest = tuple(e for e in one.events if e is not left_out)
        total = score(one.exercise, rest, one.truth).total
        assert total <= full
        lost += total < full
    assert lost >= 8


@pytest.mark.parametrize("kind", [b.PictureTaken, b.CodesScreened, b.PlanMade, b.RunStarted, b.RunEnded, b.JobClosed])
def test_no_points_without_the_process(kind: type) -> None:
    one = worked(QUICK[0])
    rest = tuple(e for e in one.events if not isinstance(e.body, kind))
    assert score(one.exercise, rest, one.truth).total < 100.0


def test_an_empty_record_has_no_points() -> None:
    one = worked(QUICK[0])
    assert score(one.exercise, (), one.truth).total == 0.0


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


def test_at_the_terminal_a_number_typed_is_the_value(tmp_path: Path) -> None:
    answers = "\n" * 7 + "!read_level\n0\n1.7\nstop here\n2\n"
    said = CliRunner().invoke(app, ["practice", "run", "yaw-sloping-floor", "--out", str(tmp_path)], input=answers)
    assert said.exit_code == 0, said.output
    assert re.search(r"'across': 1\.[78]", said.output)  # the slope drawn for variant 1 is 1.745
    assert "hint: Outside the limit" in said.output
    assert "100 of 100, passed" in said.output


def test_an_exam_shows_no_hints(tmp_path: Path) -> None:
    answers = "\n" * 7 + "0\n1.7\nstop here\n2\n"
    command = ["practice", "run", "yaw-sloping-floor", "--level", "exam", "--out", str(tmp_path)]
    said = CliRunner().invoke(app, command, input=answers)
    assert said.exit_code == 0, said.output
    assert "hint" not in said.output
