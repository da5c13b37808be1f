"""Stating what no module tells: odometer, plate, parts, the road test, who approves."""

from __future__ import annotations

from starlette.datastructures import FormData

from asleft.event.fold import JobState
from asleft.job.client import JobClient
from asleft.job.facts import fact_words
from asleft.model.reading import Evidence

from .rendering import render_plain

#: Fields of the form with their longest texts.
FIELDS = {"key": 40, "text": 200, "unit": 20, "evidence": 20, "source": 120}


def stating_page(job: str, state: JobState, token: str, by: str, *, fixed: bool) -> str:
    """The form, and what is on the record already. Args: as `adding.adding_page`."""
    known = dict(fact_words())
    stated = [(known[fact.key.value], fact) for fact in state.facts]
    page = {"state": state, "token": token, "by": by, "fixed": fixed, "known": known, "stated": stated}
    return render_plain("state.html", job=job, longest=FIELDS, evidences=list(Evidence), **page)


async def stated(client: JobClient, job: str, form: FormData, by: str) -> str:
    """Carry the form out. Returns: what stands against it, empty when it is done. Raises: RunError, InputError."""
    said = {name: str(form.get(name, "")).strip()[: longest + 1] for name, longest in FIELDS.items()}
    if not by:
        return "Say who states it."
    if not said["text"]:
        return "Say it in words or digits."
    await client.state_facts(job, by, [said])
    return ""
