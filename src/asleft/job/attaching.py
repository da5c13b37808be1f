"""Documents that belong to a job, kept by their content: the other tester's report, a photo of its screen."""

from __future__ import annotations

import base64
import binascii
import hashlib
import re
from pathlib import Path
from typing import Any

from asleft.event.body import PictureExtended
from asleft.event.fold import fold
from asleft.model.errors import Code, InputError
from asleft.model.module import Item, PictureKind
from asleft.model.reading import Evidence
from asleft.ports.journal import Journal
from asleft.record.files import put_file
from asleft.run.beside import attached_text

FOLDER = "documents"
#: Largest document, bytes; a command on the channel is one line.
MOST = 700_000
_LONGEST = 200
_ASKED = ("name", "value", "unit", "source")


def attach(folder: Path, name: str, content: str) -> str:
    """Keep a document in the data folder under its SHA-256.

    Args: name: file name as shown. content: base64.
    Returns: what answers the question that asked for it.
    Raises: InputError (internal): too large, empty, or not base64.
    """
    digest, size = keep(folder, content)
    return attached_text(digest, size, Path(name).name or "document")


def keep(folder: Path, content: str) -> tuple[str, int]:
    """Keep a document. Returns: SHA-256 and size in bytes. Raises: as `attach`."""
    try:
        data = base64.b64decode(content, validate=True)
    except (ValueError, binascii.Error) as error:
        raise InputError(Code.INTERNAL, "the document is not base64") from error
    if not 0 < len(data) <= MOST:
        raise InputError(Code.INTERNAL, f"a document has 1 to {MOST} bytes, not {len(data)}")
    digest = hashlib.sha256(data).hexdigest()
    place = folder / FOLDER
    place.mkdir(parents=True, exist_ok=True)
    put_file(place / digest, data, 0o600)
    return digest, len(data)


def extend_picture(folder: Path, journal: Journal, request: dict[str, Any]) -> None:
    """Add to a picture what a person read off another screen or a gauge, or a document that shows it.

    Args: request: ``picture`` (kind), ``by``, ``name``, ``value``, ``unit``, ``module``, ``source``; ``document`` and
        ``content`` (base64) for a document.
    Raises: InputError (asked-wrongly): the picture is not there yet, something is missing or too long; as `attach`.
    """
    said = {key: " ".join(str(request.get(key, "")).split()) for key in ("by", "module", *_ASKED)}
    kind = next((k for k in PictureKind if k.value == request.get("picture")), None)
    state = fold(journal.events())
    if kind is None or kind not in state.pictures:
        raise InputError(Code.ASKED_WRONGLY, "that picture is not taken yet; it can be added to once it is")
    document = Path(str(request.get("document", ""))).name
    value = said["value"] or document
    missing = [key for key in ("by", "name", "source") if not said[key]] + ([] if value else ["value"])
    if missing:
        raise InputError(Code.ASKED_WRONGLY, f"say {', '.join(missing)}: a value without its source is worth nothing")
    if any(len(text) > _LONGEST for text in (*said.values(), document)):
        raise InputError(Code.ASKED_WRONGLY, f"at most {_LONGEST} characters each")
    digest, size = keep(folder, str(request.get("content", ""))) if document else ("", 0)
    key = re.sub(r"[^a-z0-9]+", "-", said["name"].casefold()).strip("-") or "value"
    item = Item(key, said["name"], value, unit=said["unit"])
    evidence = Evidence.DOCUMENT if document else Evidence.OBSERVED
    body = PictureExtended(kind, item, said["module"], evidence, said["source"], said["by"], digest, size)
    journal.append(body, actor=said["by"])
