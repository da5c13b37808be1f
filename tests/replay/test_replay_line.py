"""Recordings through the whole line: a bench car's own recording, and the recorded real cars where they are at hand."""

from __future__ import annotations

from pathlib import Path

import pytest

from asleft.bench.bus import InLoopBus
from asleft.bench.cars.petrol import PetrolCar
from asleft.job.checking import check_record
from asleft.job.clock import LoopClock, run_virtual
from asleft.job.replay import CONDITIONS
from asleft.job.replaying import ReplayResult, replay_file
from asleft.link.bus_link import BusLink
from asleft.live.recordings import write_csv, write_mdf
from asleft.live.recordings.csv_out import MAP_SUFFIX
from asleft.live.sampler import LinkSignals
from asleft.model.errors import Code, InputError
from asleft.model.origin import Origin
from asleft.model.reading import Series
from asleft.model.verdict import Verdict
from asleft.talk.conversations import Conversations

SIGNALS = (*(c.signal for c in CONDITIONS), "short-term-trim-1", "long-term-trim-1", "engine-load")


def record_idle(seconds: float) -> dict[str, Series]:
    """A warm bench car at idle, recorded over its bus."""

    async def main(clock: LoopClock) -> dict[str, Series]:
        bus = InLoopBus(clock)
        car = PetrolCar(seed=5, warm=True)
        car.attach(bus, clock)
        link = BusLink(bus, clock)
        await link.open()
        car.act("key", position="on")
        await clock.sleep_until(2.0)
        car.act("key", position="start")
        await clock.sleep_until(240.0)
        talk = Conversations(link, clock, lambda _r: None)
        series = await LinkSignals(talk, clock).record(SIGNALS, seconds)
        await talk.close()
        await link.close()
        car.detach()
        return {s.signal: s for s in series if len(s)}

    return run_virtual(main)


@pytest.fixture(scope="module")
def idle() -> dict[str, Series]:
    return record_idle(100.0)


def by_id(result: ReplayResult) -> dict[str, Verdict]:
    return {j.criterion: j.verdict for j in result.judgements}


def test_a_bench_recording_is_judged_and_signed_as_a_replay(tmp_path: Path, idle: dict[str, Series]) -> None:
    file = tmp_path / "idle.csv"
    write_csv(file, idle)
    result = replay_file(file, tmp_path / "out", target_rpm=750.0, tolerance_rpm=300.0)
    assert by_id(result)["idle-mean"] is Verdict.PASS
    assert by_id(result)["idle-spread"] is Verdict.PASS
    assert result.state.origin is Origin.REPLAY
    assert result.state.closed is not None
    assert not result.state.closed.released
    findings = check_record(tmp_path / "out" / "record.zip")
    assert findings.intact
    assert findings.origin == "replay"


def test_without_a_target_the_mean_is_reported_not_judged(tmp_path: Path, idle: dict[str, Series]) -> None:
    file = tmp_path / "idle.csv"
    write_csv(file, idle)
    mean = next(j for j in replay_file(file, tmp_path / "out").judgements if j.criterion == "idle-mean")
    assert mean.verdict is Verdict.CANNOT_TELL
    assert mean.value is not None
    assert mean.u is not None
    assert mean.u > 0
    assert mean.settles is not None


def test_a_wrong_target_fails(tmp_path: Path, idle: dict[str, Series]) -> None:
    file = tmp_path / "idle.csv"
    write_csv(file, idle)
    result = replay_file(file, tmp_path / "out", target_rpm=1400.0)
    assert by_id(result)["idle-mean"] is Verdict.FAIL
    assert result.failed


def test_mdf4_gives_the_same_verdicts(tmp_path: Path, idle: dict[str, Series]) -> None:
    pytest.importorskip("asammdf")
    csv, mdf = tmp_path / "idle.csv", tmp_path / "idle.mf4"
    write_csv(csv, idle)
    write_mdf(mdf, idle)
    columns = "".join(f'  {s}: {{signal: {s}, unit: "{idle[s].unit}"}}\n' for s in idle)
    mdf.with_name(mdf.name + MAP_SUFFIX).write_text(f"name: idle\ntime: {{form: master}}\ncolumns:\n{columns}")
    assert by_id(replay_file(mdf, tmp_path / "a")) == by_id(replay_file(csv, tmp_path / "b"))


def test_a_short_recording_is_a_reasoned_cannot_tell(tmp_path: Path, idle: dict[str, Series]) -> None:
    file = tmp_path / "idle.csv"
    cut = {
        name: Series(s.signal, s.unit, s.times_s[:20], s.values[:20], s.resolution, s.accuracy)
        for name, s in idle.items()
    }
    write_csv(file, cut)
    result = replay_file(file, tmp_path / "out")
    assert set(by_id(result).values()) == {Verdict.CANNOT_TELL}
    assert all(j.reasons and j.sentence for j in result.judgements)


def test_a_recording_with_a_hole_is_judged_beside_the_hole(tmp_path: Path, idle: dict[str, Series]) -> None:
    file = tmp_path / "idle.csv"
    holed = {}
    for name, s in idle.items():
        keep = [i for i, t in enumerate(s.times_s) if not s.times_s[0] + 30 < t < s.times_s[0] + 55]
        holed[name] = Series(
            s.signal,
            s.unit,
            tuple(s.times_s[i] for i in keep),
            tuple(s.values[i] for i in keep),
            s.resolution,
            s.accuracy,
        )
    write_csv(file, holed)
    mean = next(j for j in replay_file(file, tmp_path / "out").judgements if j.criterion == "idle-spread")
    if mean.window_s is not None and mean.verdict is not Verdict.CANNOT_TELL:
        hole = idle["engine-speed"].times_s[0] + 30
        assert mean.window_s[1] <= hole + 2 or mean.window_s[0] >= hole + 23


@pytest.mark.parametrize("name", ["missing.csv", "empty.csv"])
def test_unreadable_files_are_typed_errors(tmp_path: Path, name: str) -> None:
    file = tmp_path / name
    if name == "empty.csv":
        file.write_text("")
    with pytest.raises(InputError) as caught:
        replay_file(file, tmp_path / "out")
    assert caught.value.code in (Code.RECORDING_UNREADABLE, Code.COLUMN_MAP_BAD)


def test_a_csv_that_no_map_fits_says_what_to_write(tmp_path: Path) -> None:
    file = tmp_path / "other.csv"
    file.write_text("t,Engine Speed [rpm]\n0,700\n1,701\n")
    with pytest.raises(InputError, match=MAP_SUFFIX.replace(".", r"\.")):
        replay_file(file, tmp_path / "out")


@pytest.mark.parametrize("name", ["idle1", "idle2", "idle8", "idle10", "idle22", "live9"])
def test_each_recorded_petrol_idle_gives_a_proof_or_a_reasoned_cannot_tell(
    checks: Path, tmp_path: Path, name: str
) -> None:
    """Recorded petrol car: data from outside, see the README beside it."""
    result = replay_file(checks / "obdlogs" / "petrol" / f"{name}.csv", tmp_path)
    assert len(result.judgements) == 3
    for judgement in result.judgements:
        assert judgement.sentence is not None
        if judgement.verdict is Verdict.CANNOT_TELL:
            assert judgement.reasons
            assert judgement.settles is not None
        else:
            assert judgement.u is not None
            assert judgement.u > 0
        if judgement.criterion == "idle-mean" and judgement.value is not None:
            assert 600 < judgement.value < 900, "warm idle of this car: 650 to 850 rpm"
    assert result.state.origin is Origin.REPLAY


def test_an_unthrottled_engine_is_not_judged_by_petrol_rules(checks: Path, tmp_path: Path) -> None:
    result = replay_file(checks / "obdlogs" / "unthrottled" / "drive-normal.csv", tmp_path)
    assert Verdict.PASS not in by_id(result).values()


def test_the_column_map_of_the_docs_can_be_read() -> None:
    import re

    from asleft.live.recordings import parse_map
    from conftest import REPO

    text = (REPO / "docs" / "replay.md").read_text(encoding="utf-8")
    (block,) = re.findall(r"```yaml\n(.*?)```", text, flags=re.DOTALL)
    assert [c.signal for c in parse_map(block).columns] == ["engine-speed", "coolant-temperature"]
