"""Documents that belong to a job, kept by their content: the other tester's report, a photo of its screen."""

from __future__ import annotations

import base64
import binascii
import hashlib
from pathlib import Path

from asleft.model.errors import Code, InputError
from asleft.record.files import put_file
from asleft.run.beside import attached_text

FOLDER = "documents"
#: Largest document, bytes; a command on the channel is one line.
MOST = 700_000


def attach(folder: Path, name: str, content: str) -> str:
    """Keep a document in the data folder under its SHA-256.

    Args: name: file name as shown. content: base64.
    Returns: what answers the question that asked for it.
    Raises: InputError (internal): too large, empty, or not base64.
    """
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
    return attached_text(digest, len(data), Path(name).name or "document")
