"""From a view to a PDF by the typst package: PDF/A-3a, tagged, the record attached. The room's one actor.

It reads its layout beside this file and the fonts inside the package, nothing else; the time is the caller's, so the
same events give the same bytes.

Example::

    pdf = typeset(events, head_hash, generated="2031-04-17T12:00:00Z", record=path.read_bytes())
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from functools import cache
from importlib.resources import files
from typing import cast

import msgspec
import typst

from asleft.event.envelope import Event, event_hash
from asleft.model.errors import Code, InputError, RecordError

from .mark import as_svg
from .parts import View
from .profile import Profile
from .text import breakable, everywhere, visible
from .view import view

#: Paper sizes offered -> the typesetter's names.
PAPERS = {"a4": "a4", "letter": "us-letter"}
STANDARD = "a-3a"
#: Name of the attached events.
RECORD = "events.jsonl"
#: Folder in the typesetter's memory for what is attached, so that no name of a record meets one of ours.
_ATTACHED = "attached/"


def typeset(
    events: Sequence[Event],
    head_hash: str,
    *,
    paper: str = "a4",
    generated: str,
    record: bytes | None = None,
    files: Mapping[str, bytes] | None = None,
    profile: Profile | None = None,
) -> bytes:
    """The report of a job as PDF/A-3a.

    Args:
        events: all events of one job from the first, in order.
        head_hash: hash of the last event, hexadecimal.
        paper: ``a4`` or ``letter``.
        generated: issue time, RFC 3339.
        record: bytes of ``events.jsonl``; attached when given.
        files: what belongs to it (``chunks/…`` of long recordings), text in UTF-8 by name; attached beside it.
        profile: language, numbers, units, letterhead, mark.
    Raises:
        RecordError (record-damaged): events with a gap, or a record that does not end in ``head_hash``.
        InputError (paper-unknown, time-unreadable).
    """
    _check(events, head_hash, record)
    attached = {} if record is None else {RECORD: record, **(files or {})}
    if profile and profile.redacted:
        attached = {}
    seen = view(events, head_hash, generated=generated, attached=attached, profile=profile)
    mark = profile.mark if profile else b""
    return set_view(seen, paper=paper, generated=generated, attached=attached, mark=mark)


def set_view(seen: View, *, paper: str, generated: str, attached: Mapping[str, bytes], mark: bytes = b"") -> bytes:
    """A view as PDF/A-3a. Signs that no font at hand can draw are shown by number."""
    at = _when(generated)
    if paper not in PAPERS:
        raise InputError(Code.PAPER_UNKNOWN, paper)
    kept = {f"{_ATTACHED}{name}": content for name, content in attached.items()}
    if mark:
        kept["mark.svg"] = drawable(mark)
    try:
        return _compile(seen, paper, at, kept, frozenset())
    except typst.TypstError as error:
        if not _about_a_sign(error.message):
            raise
    return _compile(seen, paper, at, kept, _missing(seen))


def _check(events: Sequence[Event], head_hash: str, record: bytes | None) -> None:
    if record is None:
        return
    lines = record.splitlines()
    if len(lines) != len(events):
        raise RecordError(Code.RECORD_DAMAGED, f"{len(events)} events, but {len(lines)} lines to attach")
    if event_hash(lines[-1]) != head_hash:
        raise RecordError(Code.RECORD_DAMAGED, "the record to attach does not end in the head hash to print")


def _when(generated: str) -> datetime:
    try:
        at = datetime.fromisoformat(generated).replace(microsecond=0)
    except ValueError:
        raise InputError(Code.TIME_UNREADABLE, repr(generated)) from None
    return at.astimezone(UTC) if at.tzinfo else at.replace(tzinfo=UTC)


def _compile(seen: View, paper: str, at: datetime, kept: dict[str, bytes], missing: frozenset[str]) -> bytes:
    plain = cast("dict[str, object]", msgspec.to_builtins(seen))
    data = everywhere(plain, lambda text: breakable(visible(text, missing)))
    sources = {"main.typ": _layout(), "data.json": msgspec.json.encode(data), **kept}
    mark = "mark.svg" if "mark.svg" in kept else ""
    names = [name.removeprefix(_ATTACHED) for name in kept if name.startswith(_ATTACHED)]
    inputs = {"paper": PAPERS[paper], "attached": msgspec.json.encode(names).decode(), "mark": mark}
    compiler = _compiler(sources, inputs)
    return cast("bytes", compiler.compile(format="pdf", pdf_standards=[STANDARD], timestamp=at))


def drawable(mark: bytes) -> bytes:
    """A workshop's mark as SVG. Raises InputError (mark-unreadable): damaged, or letters no font here draws."""
    drawing = as_svg(mark)
    sources = {"main.typ": b'#set document(title: "x")\n#image("mark.svg", alt: "x")', "mark.svg": drawing}
    try:
        _compiler(sources, {}).compile(format="pdf", pdf_standards=[STANDARD])
    except (typst.TypstError, RuntimeError) as error:
        raise InputError(Code.MARK_UNREADABLE, str(error)) from None
    return drawing


def _missing(seen: View) -> frozenset[str]:
    """Signs of a view that the fonts in the package cannot draw, found by asking the typesetter one by one."""
    signs = {c for c in visible(msgspec.json.encode(seen).decode()) if ord(c) > 0x7E}
    return frozenset(c for c in sorted(signs) if not _can_draw(c))


@cache
def _can_draw(sign: str) -> bool:
    sources = {
        "main.typ": b'#set text(font: ("Libertinus Serif", "DejaVu Sans Mono"))\n#set document(title: "x")\n#json("t")',
        "t": msgspec.json.encode(sign),
    }
    try:
        _compiler(sources, {}).compile(format="pdf", pdf_standards=[STANDARD])
    except typst.TypstError:
        return False
    return True


def _compiler(sources: dict[str, bytes], inputs: dict[str, str]) -> typst.Compiler:
    """A typesetter that sees these sources in memory and the fonts of its own package, no file and no network."""
    given = cast("bytes", sources)  # the package takes a mapping of names to bytes; its stub does not say so
    return typst.Compiler(given, ignore_system_fonts=True, sys_inputs=inputs)


def _about_a_sign(message: str) -> bool:
    return "could not be displayed" in message or "codepoint" in message


@cache
def _layout() -> bytes:
    return files(__package__ or "").joinpath("report.typ").read_bytes()
