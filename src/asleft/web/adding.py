"""Adding to a picture what a person read off another screen or a gauge, or a paper or photo that shows it."""

from __future__ import annotations

from starlette.datastructures import FormData, UploadFile
from starlette.exceptions import HTTPException

from asleft.event.fold import JobState
from asleft.job.client import JobClient
from asleft.model.module import PictureKind

from .rendering import render_plain

#: Fields of the form with their longest texts.
FIELDS = {"module": 60, "name": 80, "value": 120, "unit": 20, "source": 120}


def adding_page(job: str, state: JobState, token: str, by: str, *, fixed: bool, kind: str) -> str:
    """The form. Args: by: who is signed in or answered last; fixed: it is the signed-in name. kind: picture asked for.

    Raises: HTTPException: no picture was taken yet.
    """
    kinds = [k for k in PictureKind if k in state.pictures]
    if not kinds:
        raise HTTPException(404)
    chosen = kind if kind in {k.value for k in kinds} else kinds[-1].value
    modules = list(dict.fromkeys(m.address.name for p in state.pictures.values() for m in p.modules))
    page = {"state": state, "token": token, "by": by, "fixed": fixed, "kinds": kinds, "chosen": chosen}
    return render_plain("add.html", job=job, modules=modules, longest=FIELDS, **page)


async def extended(client: JobClient, job: str, form: FormData, by: str) -> str:
    """Carry the form out. Returns: what stands against it, empty when it is done. Raises: RunError."""
    said = {name: str(form.get(name, "")).strip()[: longest + 1] for name, longest in FIELDS.items()}
    file = form.get("document")
    document = None
    if isinstance(file, UploadFile) and file.filename:
        document = (file.filename[-120:], await file.read())
    if not by:
        return "Say who read it."
    if not said["value"] and document is None:
        return "Type the value, or choose the paper or photo that shows it."
    await client.extend_picture(job, str(form.get("picture", "")), {**said, "by": by}, document)
    return ""
