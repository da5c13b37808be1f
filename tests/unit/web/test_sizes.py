"""What a first visit fetches: under 300 kB each, whole, with all it needs."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from kit.asgi import get
from kit.evidence import evidence_job
from kit.gallery import bodies, store, whole_job

#: Bytes of a first visit, uncompressed: page, style, scripts.
MOST = 300_000
PATHS = ("/", "/job/J-1", "/job/J-2", "/job/J-2/verdict/idle-relearn-2", "/book", "/help/elements", "/set-up")


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("sizes")
    store(folder, "J-1", bodies(whole_job()))
    store(folder, "J-2", bodies(evidence_job()))
    return folder


def fetched(folder: Path, path: str, seen: dict[str, int]) -> None:
    """The page and whatever it names, scripts of scripts too."""
    if path in seen:
        return
    answer = get(folder, path)
    assert answer.status_code == 200, path
    seen[path] = len(answer.content)
    kind = answer.headers["content-type"]
    if "html" in kind:
        names = re.findall(r'<(?:script|link)[^>]* (?:src|href)="(/[^"]+)"', answer.text)
    elif "javascript" in kind:
        names = ["/static/" + name for name in re.findall(r'from "\./([\w.-]+)"', answer.text)]
    else:
        names = []
    for name in names:
        fetched(folder, name, seen)


@pytest.mark.parametrize("path", PATHS)
def test_a_first_visit_is_small(folder: Path, path: str) -> None:
    seen: dict[str, int] = {}
    fetched(folder, path, seen)
    assert "/static/sheet.css" in seen
    assert sum(seen.values()) < MOST, seen
