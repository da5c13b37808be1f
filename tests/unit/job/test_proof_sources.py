"""Proofs away from a job: several recordings by name, values typed with their gauge, a recording that is kept."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from asleft.job.proof_sources import keeping, named_recordings, typed_values
from asleft.job.proofs import prove_recordings
from asleft.live.recordings import read_parts, read_recording, write_csv
from asleft.model.errors import AsleftError
from asleft.model.origin import Origin
from asleft.model.reading import Reading, Series, Signal
from asleft.model.verdict import Reason, Verdict
from asleft.practice.proving import prove_on_link

IDLE = Path(__file__).resolve().parents[3] / "src" / "asleft" / "book" / "data" / "idle-proof.yaml"

#: Compares one recording with another.
CHANGE = """    - type: observe
      id: idle-before
      text: Let the engine idle before the work.
      signals: [engine-speed]
      seconds: 60
      save: before
criteria:
  - form: change
    id: idle-change
    name: change of the idle
    saved: idle
    before: before
    signal: engine-speed
    max-drift: 30
    limits: {low: -60, high: -20, unit: rpm, owner: ours, source: "common practice, no source"}
"""

TYPED = """gauges:
  - {name: clamp meter 2, unit: A, resolution: 0.1, accuracy: 0.2, due: "2031-03"}
values:
  - {signal: battery-current-clamp, gauge: clamp meter 2, value: 0.3}
  - {signal: battery-current-clamp, gauge: clamp meter 2, value: 0.4, time-s: 10, recording: later}
"""


def idle(path: Path, mean: float, seed: int) -> Path:
    """A minute of idle at 5 Hz, as our own CSV."""
    times = np.arange(0.0, 60.0, 0.2)
    values = np.round((mean + np.random.default_rng(seed).normal(0.0, 4.0, times.size)) * 4) / 4
    write_csv(
        path, {"engine-speed": Series("engine-speed", "rpm", tuple(times.tolist()), tuple(values.tolist()), 0.25, 1.0)}
    )
    return path


def test_recordings_by_name(tmp_path: Path) -> None:
    a, b = idle(tmp_path / "a.csv", 790.0, 1), idle(tmp_path / "b.csv", 750.0, 2)
    found = named_recordings([f"before={a}", f"idle={b}"])
    assert list(found) == ["before", "idle"]
    assert [s.signal for s in found["before"]] == ["engine-speed"]
    assert list(named_recordings([str(a)])) == [""]


def test_a_change_is_judged_between_the_two_and_needs_both(tmp_path: Path) -> None:
    procedure = tmp_path / "two.yaml"
    procedure.write_text(IDLE.read_text("utf-8").partition("criteria:")[0] + CHANGE, "utf-8")
    a, b = idle(tmp_path / "a.csv", 790.0, 1), idle(tmp_path / "b.csv", 750.0, 2)
    (judged,) = prove_recordings(procedure, [f"before={a}", f"idle={b}"])
    assert judged.verdict is Verdict.PASS
    assert judged.value == pytest.approx(-40.0, abs=2.0)
    (other,) = prove_recordings(procedure, [f"before={b}", f"idle={a}"])
    assert other.verdict is Verdict.FAIL
    (alone,) = prove_recordings(procedure, [f"idle={b}"])
    assert alone.verdict is Verdict.CANNOT_TELL
    assert Reason.UNSUPPORTED in alone.reasons


@pytest.mark.parametrize(
    ("names", "told"), [(["{a}", "{a}"], "no name"), (["x={a}", "x={a}"], "called 'x'"), (["x=none.csv"], "none.csv")]
)
def test_names_that_cannot_be(tmp_path: Path, names: list[str], told: str) -> None:
    a = idle(tmp_path / "a.csv", 750.0, 1)
    with pytest.raises(AsleftError, match=told):
        named_recordings([name.format(a=a) for name in names])


def test_typed_values_carry_their_gauge(tmp_path: Path) -> None:
    path = tmp_path / "typed.yaml"
    path.write_text(TYPED, "utf-8")
    found = typed_values(path)
    (now,), (later,) = found[""], found["later"]
    assert (now.signal, now.unit, now.values, now.resolution, now.accuracy) == (
        "battery-current-clamp",
        "A",
        (0.3,),
        0.1,
        0.2,
    )
    assert later.times_s == (10.0,)


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ("gauge: clamp meter 2, value: 0.3", "gauge: clamp, value: 0.3", "none of"),
        ("unit: A", "unit: V", "battery-current-clamp is in A"),
        ("unit: A", "unit: Amps", "Amps"),
        ("resolution: 0.1", "resolution: 0", "step above nought"),
        ("signal: battery-current-clamp, gauge: clamp meter 2, value: 0.3", "signal: amps, gauge: x, value: 1", "x"),
        ("value: 0.3", "worth: 0.3", "worth"),
    ],
)
def test_typed_values_that_cannot_be(tmp_path: Path, old: str, new: str, told: str) -> None:
    path = tmp_path / "typed.yaml"
    path.write_text(TYPED.replace(old, new), "utf-8")
    with pytest.raises(AsleftError, match=told):
        typed_values(path)


@pytest.mark.parametrize("name", ["kept.csv", "kept.mf4", "kept.parquet"])
def test_a_kept_recording_survives_up_to_its_last_part(tmp_path: Path, name: str) -> None:
    pytest.importorskip("pyarrow")
    signals = [Signal("yaw-rate", "yaw rate", "°/s", -160.0, 160.0, 0.01, 0.02)]
    take, end = keeping(tmp_path / name, signals)
    for n in range(130):
        take(Reading("yaw-rate", n * 0.01, "°/s", 0.01, n * 0.1, Origin.BENCH))
    whole = read_parts(tmp_path / f"{name}.parts").signals["yaw-rate"]
    assert len(whole) >= 100, "what a crash now would leave"
    end()
    assert not (tmp_path / f"{name}.parts").exists()
    if name != "kept.mf4":  # a map beside it says what its signals are
        assert len(read_recording(tmp_path / name).signals["yaw-rate"]) == 130
    with pytest.raises(AsleftError, match="already"):
        keeping(tmp_path / name, signals)


def test_another_ending_is_refused(tmp_path: Path) -> None:
    with pytest.raises(AsleftError, match="call it"):
        keeping(tmp_path / "kept.txt", [])


def test_a_link_is_kept_and_judged_alike(tmp_path: Path) -> None:
    """What is judged from the link is judged the same from its recording."""
    kept = tmp_path / "idle.csv"
    live, origin = prove_on_link(IDLE, "bench:petrol?seed=3", 90.0, keep=kept)
    assert any(j.value is not None for j in live)
    assert origin is Origin.BENCH
    again = prove_recordings(IDLE, [str(kept)])
    assert [(j.criterion, j.verdict) for j in again] == [(j.criterion, j.verdict) for j in live]
    for one, other in zip(live, again, strict=True):
        if one.value is not None:
            assert other.value == pytest.approx(one.value, rel=1e-6)
            assert other.u == pytest.approx(one.u, rel=1e-3)
