"""A job's time, procedures and verdicts as CSV, for the program that writes invoices. Pure.

No cell can be taken for a formula: a text that a spreadsheet would calculate gets an apostrophe before it.
Source: RFC 4180 for the form; OWASP, CSV injection (from memory), for the signs.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable

from asleft.record.store.found import JobFound, JobWhole

COLUMNS = ("job", "order", "vin", "plate", "car", "opened", "closed", "what", "procedure", "way", "began", "minutes",
           "ended", "verdict", "attempts", "performed by", "origin")  # fmt: skip
_FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n", "|", "%", "＝", "＋", "－", "＠")


def invoice_csv(jobs: Iterable[JobWhole]) -> str:
    """One row for each job and one for each of its runs; minutes with a point, one digit behind it."""
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow(COLUMNS)
    for whole in jobs:
        job, same = whole.job, _same(whole.job)
        tail = [job.performed_by, job.origin]
        ended = "released" if job.released else "closed, not released" if job.closed else "open"
        writer.writerow(map(guarded, [*same, job.work, "", "", job.opened, "", ended, "", "", *tail]))
        for run in whole.runs:
            minutes = "" if run.seconds is None else f"{run.seconds / 60.0:.1f}"
            cells = [run.name, run.procedure, run.way, run.began, minutes, run.ended, run.verdict, str(run.attempts)]
            writer.writerow(map(guarded, [*same, *cells, *tail]))
    return out.getvalue()


def guarded(cell: str) -> str:
    """A cell that no spreadsheet calculates."""
    return f"'{cell}" if cell.lstrip(" \u00a0\ufeff").startswith(_FORMULA) else cell


def _same(job: JobFound) -> list[str]:
    car = " ".join(text for text in (job.make, job.model, str(job.year or "")) if text)
    return [job.number, job.order_text, job.vin, job.plate, car, job.opened, job.closed]
