"""Details on the modules: three pictures side by side, differences, screening, clears. Pure."""

from __future__ import annotations

from collections.abc import Iterable

from asleft.event.body import CodesCleared, CodesScreened, DifferencesFound, PictureExtended, QuestionAnswered
from asleft.event.envelope import Event
from asleft.model.module import ModulePicture, Picture, PictureKind
from asleft.model.reading import Reading
from asleft.model.trouble import TroubleCode
from asleft.model.work import ScreenClass

from .keynumbers import signal_name
from .parts import Block, Cell, Events, Fact, Facts, Row, Section, Table, fact, row
from .phrases import absence_text, code_text, item_text, reading_text, wall_text
from .traced import Traced
from .words import Words

KINDS = (PictureKind.AS_RECEIVED, PictureKind.AS_FOUND, PictureKind.AS_LEFT)
_PAIRS = ((KINDS[0], KINDS[1]), (KINDS[1], KINDS[2]))
_Taken = dict[PictureKind, tuple[Events, Picture]]


def pictures(record: Traced, w: Words) -> Section:
    """As received, as found and as left: when, then module by module in one table each, then readings and notes."""
    taken: _Taken = {}
    for kind in KINDS:
        numbers, picture = record.picture(kind)
        if picture is not None and not picture.not_taken:
            taken[kind] = (numbers, picture)
    blocks: list[Block] = [Facts(w("pictures.when"), tuple(_when(record, kind, w) for kind in KINDS))]
    for name in dict.fromkeys(m.address.name for _, p in taken.values() for m in p.modules):
        blocks.append(_module(name, taken, w))
    readings = {k: {_reading_name(r, w): reading_text(r, w) for r in p.readings} for k, (_, p) in taken.items()}
    if any(readings.values()):
        blocks.append(_side_by_side(w("pictures.readings"), readings, taken, w))
    notes = {k: {i.name: item_text(i, w) for i in p.notes} for k, (_, p) in taken.items()}
    if any(notes.values()):
        blocks.append(_side_by_side(w("pictures.notes"), notes, taken, w))
    if added := record.of(PictureExtended):
        blocks.append(_added(added, w))
    return Section(w("pictures.title"), tuple(blocks))


def _added(added: Iterable[tuple[Event, PictureExtended]], w: Words) -> Table:
    """What a person added to a picture from another screen, a gauge or a paper."""
    head = tuple(w(f"added.{h}") for h in ("picture", "module", "what", "value", "shown-by", "read-by"))
    rows: list[Row] = []
    for event, body in added:
        value = f"{body.item.value} {body.item.unit}".strip()
        if body.sha256:
            value = w("added.document", name=value, size=str(body.size), sha=body.sha256)
        how = f"{body.source}, {w(f'evidence.{body.evidence.value}')}"
        picture, module = w(body.picture.value), body.module or w("added.car")
        rows.append(row(picture, module, body.item.name, value, how, body.by, events=(event.sequence,)))
    return Table(w("added.title"), head, (3, 3, 4, 5, 5, 3), tuple(rows))


def differences(record: Traced, w: Words) -> Section:
    """Received to found: what the repair did. Found to left: what the learns did."""
    return Section(w("differences.title"), tuple(_pair(record, before, after, w) for before, after in _PAIRS))


def screening(record: Traced, w: Words) -> Section:
    """Codes sorted for each function; a later sorting replaces an earlier one."""
    head = tuple(w(h) for h in ("code", "module", "class", "seen-in", "reasons", "sorted-by"))
    widths = (4, 2, 3, 3, 5, 2)
    tables: list[Block] = []
    for function, codes in record.state.screened.items():
        events = record.numbers(CodesScreened, lambda b, f=function: b.function == f)[-1:]
        rows: list[Row] = []
        for c in codes:
            mark = {ScreenClass.BLOCK: "fail", ScreenClass.UNSORTED: "open"}.get(c.screen, "")
            seen = ", ".join(w(k.value) for k in c.seen_in)
            cells = (code_text(c.code, w), c.code.module, Cell(w(f"screen.{c.screen.value}"), mark), seen)
            rows.append(row(*cells, w.said(c.reason), c.sorted_by or "asleft", events=events))
        title = w("screening.for", function=function)
        tables.append(Table(title, head, widths, tuple(rows), w("screening.no-codes")))
    return Section(w("screening.title"), tuple(tables) or (Table("", head, widths, (), w("screening.none")),))


def clears(record: Traced, w: Words) -> Section:
    """Every clear that happened: modules, what it removed, what stayed, why."""
    names = ("clear.when", "clear.modules", "clear.removed", "clear.remaining", "clear.reason", "clear.by")
    head = tuple(w(h) for h in names)
    rows: list[Row] = []
    for event, body in record.of(CodesCleared):
        when = wall_text(event.wall, event.wall_trust, w)
        texts = (", ".join(body.modules), _codes(body.removed, w), _codes(body.remaining, w), body.reason)
        asked = record.of(QuestionAnswered, lambda b, run=body.run: b.run == run)
        before = [(e, a) for e, a in asked if e.sequence < event.sequence]
        by = before[-1][1].answer.by if before else event.actor
        events = (*(e.sequence for e, _ in before[-1:]), event.sequence)
        rows.append(row(when, *texts, by, events=events))
    return Section(w("clears.title"), (Table("", head, (3, 3, 4, 4, 3, 3), tuple(rows), w("clears.none")),))


def _codes(codes: Iterable[TroubleCode], w: Words) -> str:
    return "\n".join(f"{code_text(c, w)} – {c.module}" for c in codes) or w("codes.none")


def _when(record: Traced, kind: PictureKind, w: Words) -> Fact:
    numbers, picture = record.picture(kind)
    if picture is None:
        return fact(w(kind.value), Cell(w("not-taken.no-reason"), "open"))
    if picture.not_taken:
        return fact(w(kind.value), Cell(w("not-taken.reason", reason=picture.not_taken), "open"), numbers)
    span = w("pictures.span", start=w.n.fixed(picture.start_s), stop=w.n.fixed(picture.stop_s))
    opened = record.state.opened
    if opened and any(m.responded for m in picture.modules):
        span = f"{span}; {w('pictures.by-wire', link=opened.link)}"
    return fact(w(kind.value), span, numbers)


def _reading_name(reading: Reading, w: Words) -> str:
    return f"{signal_name(reading.signal)}, {w(f'evidence.{reading.evidence.value}')}"


def _module(name: str, taken: _Taken, w: Words) -> Table:
    facts: dict[PictureKind, dict[str, str]] = {}
    address = name
    for kind, (_, picture) in taken.items():
        module = picture.module(name)
        if module is not None:
            address = module.address.text
            facts[kind] = _module_facts(module, w)
    return _side_by_side(w("pictures.module", module=address), facts, taken, w)


def _module_facts(module: ModulePicture, w: Words) -> dict[str, str]:
    facts = {w("answer"): w("answered" if module.responded else "silent")}
    for item in (*module.identification, *module.coding, *module.learned):
        facts[item.name or item.key] = item_text(item, w)
    if module.responded or module.codes:
        none = absence_text(module.codes_absence, w) if module.codes_absence else w("codes.none")
        facts[w("codes")] = "\n".join(_code(c, w) for c in module.codes) or none
    return facts


def _code(code: TroubleCode, w: Words) -> str:
    status = "" if code.status is None else f", {w('code.status', status=f'{code.status:02X}')}"
    return f"{code_text(code, w)}{status}"


def _side_by_side(title: str, facts: dict[PictureKind, dict[str, str]], taken: _Taken, w: Words) -> Table:
    absent = w("absent")
    rows: list[Row] = []
    for key in dict.fromkeys(k for f in facts.values() for k in f):
        texts: list[str] = []
        events: list[int] = []
        for kind in KINDS:
            here = facts.get(kind)
            if kind not in taken:
                texts.append(w("not-taken"))
                continue
            texts.append(here[key] if here and key in here else absent)
            events += taken[kind][0] if here and key in here else ()
        rows.append(row(key, *texts, events=tuple(events)))
    head = (w("item"), *(w(k.value) for k in KINDS))
    return Table(title, head, (3, 4, 4, 4), tuple(rows))


def _pair(record: Traced, before: PictureKind, after: PictureKind, w: Words) -> Table:
    title = w("differences.between", before=w(before.value), after=w(after.value))
    head = tuple(w(h) for h in ("module", "what", "before", "after", "intended"))
    numbers, body = record.last(DifferencesFound, lambda b: (b.before, b.after) == (before, after))
    rows: list[Row] = []
    for d in body.differences if body else ():
        word = {True: "intended.yes", False: "intended.no", None: "intended.unknown"}[d.intended]
        mark = "" if d.intended else "open"
        rows.append(row(d.module, d.name or d.key, d.before, d.after, Cell(w(word), mark), events=numbers))
    empty = w("differences.none") if body else w("differences.not-compared")
    return Table(title, head, (2, 4, 4, 4, 3), tuple(rows), empty)
