"""Replaying a file in virtual time, and what to say of it: for commands and scripts."""

from __future__ import annotations

import tempfile
from dataclasses import dataclass
from pathlib import Path

import msgspec

from asleft.event.fold import JobState, fold
from asleft.model.verdict import Judgement, Verdict

from .clock import run_virtual
from .replay import RUN, ReplayRequest, replay_job

_WORDS = {Verdict.PASS: "PASS", Verdict.FAIL: "FAIL", Verdict.CANNOT_TELL: "CANNOT TELL"}


@dataclass(frozen=True)
class ReplayResult:
    """What a replay gave."""

    out: Path
    head: str
    state: JobState

    @property
    def judgements(self) -> tuple[Judgement, ...]:
        """Criteria judged."""
        return self.state.runs[RUN].judgements

    @property
    def failed(self) -> bool:
        """Whether a criterion failed."""
        return any(j.verdict is Verdict.FAIL for j in self.judgements)

    def lines(self) -> tuple[str, ...]:
        """To read."""
        run = self.state.runs[RUN]
        conditions = next((s.result.text for s in run.steps if s.id == "entry-conditions" and s.result), "")
        judged = [
            f"{_WORDS[j.verdict]:<11} {j.sentence.text if j.sentence else j.name}"
            + (f" What would settle it: {j.settles.text}" if j.settles else "")
            for j in self.judgements
        ]
        papers = [f"  {self.out / name}" for name in ("record.zip", "report.pdf", "key.pem")]
        return (
            f"job {self.state.number}, origin replay",
            f"entry conditions: {conditions}",
            *judged,
            f"head {self.head}",
            *papers,
        )

    def as_json(self) -> str:
        """For scripts."""
        return msgspec.json.format(
            msgspec.json.encode({"origin": "replay", "head": self.head, "judgements": self.judgements}), indent=2
        ).decode()


def replay_file(
    file: Path,
    out: Path,
    *,
    column_map: Path | None = None,
    target_rpm: float | None = None,
    tolerance_rpm: float = 50.0,
) -> ReplayResult:
    """Replay a recording to a signed record and its report, in virtual time.

    Raises: InputError: recording-unreadable, column-map-bad. RecordError.
    """
    with tempfile.TemporaryDirectory(prefix="asleft-replay-") as folder:
        request = ReplayRequest(file, Path(folder), out, "replay-0001", column_map, target_rpm, tolerance_rpm)
        head, events = run_virtual(lambda clock: replay_job(request, clock))
    return ReplayResult(out, head, fold(events))
