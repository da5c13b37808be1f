"""Beats of a sequence by hand and the progress of a run, as the page's script gets them."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import msgspec
import pytest

from asleft.event.fold import fold
from asleft.job.sequences import rehearsal_of, run_sequence
from asleft.job.settings import BOOK
from asleft.run.cues import cues
from asleft.web.beats import beats_of, rehearsal_beats
from asleft.web.live import LiveView
from asleft.web.telling import is_bytes, minutes_left, progress_words, seconds
from kit.evidence import HAND, evidence_job

RUN = fold(evidence_job()).runs[HAND]


class Now:
    def __init__(self) -> None:
        self.s = 100.0

    def __call__(self) -> float:
        return self.s


def shown(**more: Any) -> dict[str, Any]:
    """What the engine's feed holds while a sequence is counted in."""
    step = run_sequence(RUN, "sequence")
    assert step is not None
    return {"run": HAND, "step": "sequence", "cues": msgspec.to_builtins(cues(step)), "count_in_s": 3, **more}


def test_a_page_counts_in_with_the_engine_however_late_the_news_comes() -> None:
    now = Now()
    view = LiveView(now)
    view.update({"sequence": shown(), "sequence-age": 0.4})
    now.s += 0.3
    told = beats_of(RUN, view.beats, narrow=False)
    assert told["begun_s"] == pytest.approx(0.4 + 0.3 - 3.0)
    assert [c["at"] for c in told["cues"]][:4] == [-3.0, -2.0, -1.0, 0.0]
    assert told["cues"][4] == {"at": 6.0, "text": "pedal to the floor", "sound": "press", "until": 8.0}
    key = told["key"]
    view.update({"sequence": shown(), "sequence-age": 0.9})
    assert beats_of(RUN, view.beats, narrow=False)["key"] == key, "the same beats are not begun again"
    view.update({"sequence": {"run": HAND, "step": "sequence", "ended": "in time"}, "sequence-age": 0.0})
    assert beats_of(RUN, view.beats, narrow=False)["ended"] == "in time"
    now.s += 700.0
    assert view.beats == {}


def test_beats_of_another_run_are_not_shown() -> None:
    assert beats_of(RUN, {**shown(run="other"), "age_s": 0.0, "key": "k"}, narrow=False) == {}
    assert beats_of(None, {**shown(), "age_s": 0.0, "key": "k"}, narrow=False) == {}


@pytest.mark.parametrize("narrow", [False, True])
def test_the_line_runs_along_the_same_scale_as_the_picture(narrow: bool) -> None:
    told = rehearsal_beats(rehearsal_of(BOOK / "idle-relearn-aldra.yaml", narrow=narrow))
    scale = told["scale"]
    assert scale["from"] == -told["count_in_s"]
    assert scale["to"] >= max(c["until"] for c in told["cues"] if c["until"])
    assert 0 < scale["left"] < scale["right"] <= (400 if narrow else 720)


def test_the_scripts_sounds_are_those_of_the_steps() -> None:
    script = (Path(__file__).parents[3] / "src/asleft/web/static/beats.js").read_text()
    from asleft.model.step_more import Sound

    assert all(f"  {sound.value}: [[" in script for sound in Sound)
    assert "http" not in script.replace("http://www.w3.org/2000/svg", "")


@pytest.mark.parametrize(
    ("seconds_", "words"), [(12.0, "less than a minute"), (130.0, "about 2 min"), (1400.0, "about 25 min")]
)
def test_time_left_is_no_finer_than_it_is_known(seconds_: float, words: str) -> None:
    assert minutes_left(seconds_) == words


def test_progress_says_whose_experience_it_is() -> None:
    progress = {"step": 2, "of": 5, "share": 0.4, "remaining_s": 200.0, "by": "shop"}
    words, share = progress_words(progress)
    assert words == "Step 2 of 5, about 3 min left when it began, by this shop's earlier runs"
    assert share == 40


@pytest.mark.parametrize(
    ("line", "read_letter_by_letter"),
    [
        ("bytes 31 01 5A 31", True),
        ("31015A31", True),
        ("to engine 7E0/7E8", True),
        ("The stop on the screen is no safety switch: the brake and the key are.", False),
        ("Our screen watches nothing until the end is marked.", False),
    ],
)
def test_only_bytes_are_set_in_equal_widths(line: str, read_letter_by_letter: bool) -> None:
    assert is_bytes(line) is read_letter_by_letter


def test_a_duration_as_one_says_it() -> None:
    assert seconds(45.2) == "45 s"
    assert seconds(140.0) == "2 min 20 s"
