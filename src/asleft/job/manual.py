"""The help texts: the project's own pages, rendered on this machine, read without a network.

They lie beside the package when it is installed, and in the checkout's ``docs`` while it is developed.
"""

from __future__ import annotations

import re
from functools import cache
from importlib import resources
from pathlib import Path

from markdown_it import MarkdownIt
from markdown_it.token import Token

from asleft.model.errors import Code, InputError

#: Pages in the order in which a newcomer needs them; others follow by name.
FIRST = (
    "first-job",
    "the-page",
    "links",
    "write-a-procedure",
    "procedures",
    "coding",
    "plan",
    "proof",
    "when-it-stops",
    "hazards",
    "record-format",
    "threat-model",
    "security",
    "glossary",
    "commands",
    "python-api",
    "reference",
)
_NAME = re.compile(r"[a-z0-9][a-z0-9-]*")
_PICTURE = re.compile(r"[a-z0-9][a-z0-9-]*\.(png|svg)")
_LINK = re.compile(r"(?:procedures/)?(?P<page>[a-z0-9-]+)\.md(?P<place>#.*)?")


def pages() -> dict[str, str]:
    """Name and title of every page, in reading order."""
    found = {path.stem: _title(path) for path in sorted(_folder().glob("*.md"))}
    order = [name for name in FIRST if name in found]
    return {name: found[name] for name in (*order, *(n for n in found if n not in order))}


def every_page() -> dict[str, str]:
    """Name and title of every page, those of single procedures too, to which the page of procedures leads."""
    folder = _folder() / "procedures"
    return {**{path.stem: _title(path) for path in sorted(folder.glob("*.md"))}, **pages()}


def page_html(name: str) -> str:
    """A page as HTML. Raises InputError (help-unknown)."""
    return _rendered(name) if _NAME.fullmatch(name) and name in every_page() else _unknown(name)


def picture(name: str) -> Path:
    """The file of a picture on a page. Raises InputError (help-unknown)."""
    path = _folder() / "pictures" / name
    if not _PICTURE.fullmatch(name) or not path.is_file():
        _unknown(name)
    return path


@cache
def _folder() -> Path:
    package = Path(str(resources.files("asleft")))
    installed = package / "docs"
    return installed if installed.is_dir() else package.parent.parent / "docs"


def _title(path: Path) -> str:
    first = path.read_text(encoding="utf-8").partition("\n")[0]
    return first.lstrip("# ").strip() or path.stem


@cache
def _rendered(name: str) -> str:
    reader = MarkdownIt("commonmark", {"html": False}).enable("table")
    folder = _folder() if (_folder() / f"{name}.md").is_file() else _folder() / "procedures"
    tokens = reader.parse((folder / f"{name}.md").read_text(encoding="utf-8"))
    for token in tokens:
        for part in token.children or ():
            _local(part)
    return str(reader.renderer.render(tokens, reader.options, {}))


def _local(part: Token) -> None:
    """Links between pages lead to pages here; others stay text of the page, since there may be no network."""
    if part.type == "image":
        part.attrs["src"] = f"/help/pictures/{str(part.attrs['src']).rpartition('/')[2]}"
    elif part.type == "link_open":
        found = _LINK.fullmatch(str(part.attrs["href"]))
        if found and found["page"] in every_page():
            part.attrs["href"] = f"/help/{found['page']}{found['place'] or ''}"
        elif not str(part.attrs["href"]).startswith("#"):
            part.attrs["href"] = "#"
            part.attrs["title"] = "not part of the offline help"


def _unknown(name: str) -> str:
    raise InputError(Code.HELP_UNKNOWN, repr(name[:40]))
