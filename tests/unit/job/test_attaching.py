"""What a person adds to a picture: kept, named with its source, and refused when it is worth nothing."""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from asleft.event import body as b
from asleft.event.fold import fold
from asleft.job.attaching import MOST, extend_picture
from asleft.job.history_parcel import _documents  # pyright: ignore[reportPrivateUsage]
from asleft.model.errors import Code, InputError
from asleft.model.module import PictureKind
from asleft.model.reading import Evidence
from asleft.record.journal import JobJournal, open_journal
from kit.events import FOUND, opened, picture
from kit.record_kit import HandClock, Source

SAID = {
    "picture": "as-found",
    "by": "A. Novak",
    "name": "Learned idle air",
    "value": "0,42",
    "unit": "g/s",
    "module": "engine",
    "source": "other tester, level 4.1",
}


@pytest.fixture
def journal(tmp_path: Path) -> Iterator[JobJournal]:
    with open_journal(tmp_path) as journals:
        journal = journals.create("T-1", source=Source(), clock=HandClock())
        journal.append(opened())
        journal.append(b.PictureTaken(picture(FOUND, 60.0, "0.0")))
        yield journal
        journal.give_back()


def test_a_value_stands_on_the_record_with_its_source(tmp_path: Path, journal: JobJournal) -> None:
    extend_picture(tmp_path, journal, SAID)
    (added,) = fold(journal.events()).extended
    assert (added.picture, added.module, added.source, added.by) == (
        PictureKind.AS_FOUND,
        "engine",
        "other tester, level 4.1",
        "A. Novak",
    )
    assert (added.item.key, added.item.name, added.item.value, added.item.unit) == (
        "learned-idle-air",
        "Learned idle air",
        "0,42",
        "g/s",
    )
    assert added.evidence is Evidence.OBSERVED
    assert journal.events()[-1].actor == "A. Novak"
    assert fold(journal.events()).pictures[PictureKind.AS_FOUND] == picture(FOUND, 60.0, "0.0"), "nothing overwritten"


def test_a_document_is_kept_by_its_content_and_goes_out_with_the_job(tmp_path: Path, journal: JobJournal) -> None:
    content = b"%PDF-1.7 report"
    paper = {"document": "../../report.pdf", "content": base64.b64encode(content).decode(), "value": ""}
    extend_picture(tmp_path, journal, {**SAID, **paper})
    (added,) = fold(journal.events()).extended
    assert added.item.value == "report.pdf"
    assert added.evidence is Evidence.DOCUMENT
    assert (added.sha256, added.size) == (hashlib.sha256(content).hexdigest(), len(content))
    assert (tmp_path / "documents" / added.sha256).read_bytes() == content
    assert _documents(tmp_path, "T-1") == (added.sha256,)


@pytest.mark.parametrize(
    ("change", "told"),
    [
        ({"picture": "as-left"}, "not taken yet"),
        ({"picture": "yesterday"}, "not taken yet"),
        ({"by": " "}, "say by"),
        ({"source": ""}, "say source"),
        ({"name": "", "value": ""}, "say name, value"),
        ({"value": "x" * 201}, "at most 200"),
        ({"document": "a.pdf", "content": "***"}, "base64"),
        ({"document": "a.pdf", "content": ""}, "1 to"),
        ({"document": "a.pdf", "content": base64.b64encode(b"x" * (MOST + 1)).decode()}, "1 to"),
    ],
)
def test_what_is_refused_leaves_no_event(
    tmp_path: Path, journal: JobJournal, change: dict[str, Any], told: str
) -> None:
    before = journal.events()
    with pytest.raises(InputError, match=told) as caught:
        extend_picture(tmp_path, journal, {**SAID, **change})
    assert caught.value.code in (Code.ASKED_WRONGLY, Code.INTERNAL)
    assert journal.events() == before
