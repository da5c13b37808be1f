"""What scripts and notebooks use. What stands here stays; see ``docs/python-api.md``, whose code is run by a test."""

from __future__ import annotations

from asleft.job.books import dry_run_of, lint_files
from asleft.job.checking import check_record
from asleft.job.history import Asked, History
from asleft.job.plans import plan_for
from asleft.job.proofs import prove_recordings
from asleft.job.shop import Shop
from asleft.model.errors import AsleftError, Code
from asleft.model.verdict import Verdict

__all__ = [
    "Asked",
    "AsleftError",
    "Code",
    "History",
    "Shop",
    "Verdict",
    "check_record",
    "dry_run_of",
    "lint_files",
    "plan_for",
    "prove_recordings",
]
