"""What the ways by hand and beside another tester leave, and what a run repeats: acts, marks, papers. Pure.

Pictures of the module before and after stand here too: they are taken the same way whoever does the work.
"""

from __future__ import annotations

from asleft.event import body as b
from asleft.model.module import ModulePicture
from asleft.model.numbers import with_unit

from .parts import Block, Cell, Events, Line, Lines, Row, Table, row
from .phrases import code_text, item_text, verdict_cell
from .traced import Traced
from .words import Words


def evidence(record: Traced, run: str, w: Words) -> list[Block]:
    """Blocks of one run; only those that there is something for."""
    found = (_acts, _marks, _documents, _module_pictures)
    return [block for each in found for block in each(record, run, w)]


def retests(record: Traced, run: str, w: Words) -> list[Block]:
    """Who declared that it is measured once more, why, and what was changed in between."""
    lines = tuple(
        Line(
            w(
                "retest.declared",
                attempt=body.attempt,
                by=body.by,
                reason=body.reason,
                changed=body.changed or w("retest.nothing"),
            ),
            (event.sequence,),
            "open",
        )
        for event, body in record.of_run(b.RetestDeclared, run)
    )
    return [Lines(w("retest.title"), lines)] if lines else []


def causes(record: Traced, run: str, w: Words) -> list[Block]:
    """What the procedure lists as causes for what was seen, likeliest first."""
    rows = tuple(
        row(body.seen, "\n".join(body.causes), events=(event.sequence,))
        for event, body in record.of_run(b.CausesNamed, run)
    )
    return [Table(w("causes.title"), (w("causes.seen"), w("causes.causes")), (5, 7), rows)] if rows else []


def course(record: Traced, run: str, w: Words) -> list[Block]:
    """The states a run went through and what moved it, by the clock of the job."""
    moved = record.of_run(b.RunProgress, run)
    if not moved:
        return []
    start = record.of_run(b.RunStarted, run)[0][0]
    said = [
        f"{w.n.fixed(event.monotonic_s - start.monotonic_s)} s {_known(f'progress.{body.state}', body.state, w)}"
        for event, body in moved
    ]
    numbers = (start.sequence, *(event.sequence for event, _ in moved))
    return [Lines(w("progress.title"), (Line(" → ".join(said), numbers),))]


def _known(word: str, otherwise: str, w: Words) -> str:
    return w(word) if w.knows(word) else otherwise


def _acts(record: Traced, run: str, w: Words) -> list[Block]:
    tables: list[Block] = []
    head = tuple(w(f"acts.{h}") for h in ("act", "at", "off"))
    for event, body in record.of_run(b.SequenceTimed, run):
        here = (event.sequence,)
        rows = [
            row(
                act.act,
                f"{w.n.fixed(act.at_s)} s ± {w.n.plain(round(act.u_s, 2))} s",
                f"{w.n.signed(act.off_s)} s",
                events=here,
            )
            for act in body.acts
        ]
        cell = verdict_cell(body.verdict)
        said = w.said(body.message)
        rows.append(
            row(w("acts.rhythm"), cell, f"{said}; {w('acts.sampled', seconds=w.n.plain(body.sample_s))}", events=here)
        )
        tables.append(Table(w("acts.title", attempt=body.attempt), head, (5, 3, 6), tuple(rows)))
    return tables


def _marks(record: Traced, run: str, w: Words) -> list[Block]:
    rows: list[tuple[int, Row]] = []
    for event, body in record.of_run(b.PersonMarked, run):
        at = f"{w.n.fixed(event.monotonic_s)} s"
        what = _known(f"mark.{body.mark}", body.mark, w)
        rows.append((event.sequence, row(at, what, body.said, body.by, events=(event.sequence,))))
    for event, blind in record.of_run(b.NotWatched, run):
        span = f"{w.n.fixed(blind.begin_s)} – {w.n.fixed(blind.end_s)} s"
        cell = Cell(w("mark.blind"), "open")
        rows.append((event.sequence, row(span, cell, w.said(blind.message), "asleft", events=(event.sequence,))))
    if not rows:
        return []
    head = tuple(w(f"mark.head.{h}") for h in ("at", "what", "said", "by"))
    return [Table(w("mark.title"), head, (3, 4, 8, 3), tuple(r for _, r in sorted(rows, key=lambda r: r[0])))]


def _documents(record: Traced, run: str, w: Words) -> list[Block]:
    rows = tuple(
        row(body.name, str(body.size), Cell(body.sha256, "bytes"), body.by, events=(event.sequence,))
        for event, body in record.of_run(b.DocumentAttached, run)
    )
    head = tuple(w(f"document.{h}") for h in ("name", "size", "digest", "by"))
    return [Table(w("document.title"), head, (4, 2, 9, 3), rows)] if rows else []


def _module_pictures(record: Traced, run: str, w: Words) -> list[Block]:
    taken: dict[str, tuple[Events, ModulePicture]] = {}
    for event, body in record.of_run(b.ModulePictureTaken, run):
        taken[body.when] = ((event.sequence,), body.picture)
    if not taken:
        return []
    facts = {when: _facts(picture, w) for when, (_, picture) in taken.items()}
    whens = ("before", "after")
    rows: list[Row] = []
    same = 0
    for key in dict.fromkeys(k for when in whens for k in facts.get(when, {})):
        texts = [facts[when].get(key, w("absent")) if when in facts else w("not-taken") for when in whens]
        if len(taken) == len(whens) and texts[0] == texts[1]:
            same += 1
            continue
        rows.append(row(key, *texts, events=tuple(n for numbers, _ in taken.values() for n in numbers)))
    events = tuple(n for numbers, _ in taken.values() for n in numbers)
    blocks: list[Block] = []
    name = next(iter(taken.values()))[1].address.text
    if rows:
        head = (w("item"), w("before"), w("after"))
        blocks.append(Table(w("module-around.title", module=name), head, (4, 5, 5), tuple(rows)))
    if same:
        text = w("module-around.same" if rows else "module-around.all-same", module=name, count=same)
        blocks.append(Lines("", (Line(text, events),)))
    return blocks


def _facts(picture: ModulePicture, w: Words) -> dict[str, str]:
    facts = {w("answer"): w("answered" if picture.responded else "silent")}
    for item in (*picture.identification, *picture.coding, *picture.learned):
        facts[with_unit(item.name or item.key, "")] = item_text(item, w)
    if picture.responded and picture.codes_absence is None:
        facts[w("codes")] = "\n".join(code_text(c, w) for c in picture.codes) or w("codes.none")
    return facts
