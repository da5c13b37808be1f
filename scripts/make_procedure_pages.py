"""Writes docs/procedures.md, docs/procedures/NAME.md and the pictures of passing runs, from the book and its plays.

python scripts/make_procedure_pages.py              texts and pictures (plays every procedure, some minutes)
python scripts/make_procedure_pages.py --texts      texts only (a second)
"""

from __future__ import annotations

import re
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

from asleft.book.dry_run import DryLine, dry_run
from asleft.book.identifier import parse
from asleft.book.loader import LoadedProcedure, read_procedure
from asleft.book.procedure import Procedure, SourceKind, Way
from asleft.figure.look import Look, Size
from asleft.figure.number_line import number_line
from asleft.model.condition import ConditionKind
from asleft.model.effect import Effect
from asleft.model.numbers import short, with_unit
from asleft.model.verdict import Judgement, Rule, Verdict
from asleft.practice.demo_book import Play, play
from asleft.practice.demo_book_all import PLAYS
from asleft.practice.unattended import run_unattended
from asleft.proof.criterion_data import CodeAbsent, Criterion
from asleft.proof.saved import recordings_of

REPO = Path(__file__).parents[1]
BOOK = REPO / "src" / "asleft" / "book" / "data"
DOCS = REPO / "docs"
WAY_WORDS = {Way.BY_WIRE: "by wire", Way.BESIDE: "beside another tester", Way.BY_HAND: "by hand"}
#: Widest picture: that of a page of text, px.
SIZE = Size(width=720)

FOREWORD = """All for invented cars of our invented workshop, typed in from the invented pages in
[manual-pages](manual-pages). Never use their numbers on a car.

Each is played by `asleft demo --unattended --procedure NAME`; `asleft demo --plays` lists how each can fail. Conditions
are *measured* where a signal shows them, else *declared* by a person, whose name stands in the record. This page and
those it leads to are made by `scripts/make_procedure_pages.py`."""

READS = """The dry run, as the program sends it. Requests that only read (the recordings) depend on what the
car supports and are not listed; everything else is."""

#: Procedure -> what its proof shows, and what no reading of it can show.
SHOWS = {
    "battery-data-brevik": (
        "that the alternator charges as the entered kind wants it, and that the sensor sees a known load",
        "capacity and age of the battery; that the kind entered is the kind fitted, where two kinds are charged alike",
    ),
    "body-coding-aldra": (
        "each byte as meant after the restart; each changed option tried at the car",
        "options that were not changed; parts that are coded and fitted but fail later",
    ),
    "brake-pressure-zero-brevik": (
        "no pressure with the foot off, after presses and key cycles; room of the stored zero in its window",
        "whether the sensor is right under pressure (no second gauge in the line); air in the brakes",
    ),
    "crank-tooth-learn-aldra": (
        "stored errors inside their window; an idle as even as it should be",
        "that misfire is found at every speed: that takes the car's own test on the road",
    ),
    "egr-learn-dunmere": (
        "the closed reading stays where it was learned; the valve follows its command at idle",
        "flow through a narrowed pipe or cooler; the valve under load",
    ),
    "fitted-list-brevik": (
        "that the gateway hears every module of its list, and lists every module it hears",
        "modules that are fitted, listed and silent for another reason than the list",
    ),
    "headlamp-level-brevik": (
        "the fall of both beams by an optical tester; room of the stored pitch",
        "levelling while driving; a floor that slopes under tester and car alike",
    ),
    "idle-proof": (
        "evenness of a warm idle and the sum of the trims, from readings any car gives",
        "that something was learned: it looks at the car only",
    ),
    "idle-relearn-aldra": (
        "the settled warm idle, its trims, and what the page's steps record of it",
        "the cold start of the next morning: it stays open on the record",
    ),
    "injector-codes-dunmere": (
        "that the typed codes stand in the module, and how evenly the cylinders run",
        "that each injector sits in the cylinder whose code it has, where two run alike",
    ),
    "isolation-reading-tarnbeck": (
        "the isolation as the car's own monitor sees it, contactors open and closed; one part by a tester",
        "that it is safe to touch anything; a fault that comes with water, heat or movement",
    ),
    "parking-brake-brevik": (
        "that the calipers went back, found the pads again and draw alike; the wheels turn free by hand",
        "what the brake holds on a slope or a brake tester; the wear of other parts",
    ),
    "pedal-rest-learn-aldra": (
        "nought with the foot off, full at the floor, after two key cycles",
        "a mat that catches the pedal later; a sensor that fails warm",
    ),
    "planned-clear": ("the codes that were there, and those that came back", "faults whose self-test has not run"),
    "steering-angle-zero-brevik": (
        "the angle while the car runs straight, both ways of one road, against the yaw rate",
        "the alignment itself; a road that slopes alike both ways",
    ),
    "steering-end-stops-brevik": (
        "both locks stored, inside their window and alike",
        "play and friction of the rack; that the wheel stands straight on the road",
    ),
    "throttle-rest-cable-aldra": (
        "the plate comes back to the same rest, and the rest reads as the page wants it",
        "how the plate moves with a worn cable in other weather; the air that passes at rest",
    ),
    "throttle-stop-learn-aldra": (
        "the rest reading over key cycles; the plate follows its command over the whole sweep",
        "the air that passes at rest: the idle relearn after it shows that",
    ),
    "throttle-stop-learn-brevik": (
        "the rest reading over key cycles; the plate follows its command over the whole sweep",
        "the air that passes at rest; that the typed identifier is the page's, beyond its being known to the module",
    ),
    "trans-learn-brevik": (
        "stored fills inside their window; the time two elements take to grip, standing",
        "shifts under way: the road part stays open; the third element's time",
    ),
    "window-init-brevik": (
        "stored travel, and the force at which it backs off from a gauge",
        "the force along the whole way; ice and age",
    ),
    "yaw-accel-zero-brevik": (
        "yaw rate at a new rest; the accelerations' own error by two headings, the floor taken out",
        "the sensors' slope: no turning table; where nothing can be read, a flashing lamp proves nothing",
    ),
}

#: Procedure -> criterion whose number line is its picture; else the first with limits that is no room of a window.
PICTURED = {"window-init-brevik": "force", "isolation-reading-tarnbeck": "closed", "trans-learn-brevik": "grips-1"}


def book() -> tuple[LoadedProcedure, ...]:
    """Every procedure of the book, by name."""
    return tuple(read_procedure(path.read_bytes(), path.stem) for path in sorted(BOOK.glob("*.yaml")))


def page(loaded: LoadedProcedure, one: Play | None) -> str:
    """The page of one procedure as Markdown."""
    p = loaded.procedure
    sections = (_head(p, one), _when(p), _conditions(p), _ways(p), _proof(p), _causes(p), _fails(one))
    parts = [f"# {p.name}", *(part for section in sections for part in section)]
    return "\n\n".join(part.strip() for part in parts if part.strip()) + "\n"


def table(loaded: tuple[LoadedProcedure, ...]) -> str:
    """docs/procedures.md."""
    rows = "\n".join(_row(one.procedure) for one in loaded)
    names = ("procedure", "ways", "measured", "declared", "the proof shows", "it cannot show")
    head = f"| {' | '.join(names)} |\n|{' --- |' * len(names)}"
    return f"# The procedures of the demo book\n\n{FOREWORD}\n\n{head}\n{rows}\n"


def _row(p: Procedure) -> str:
    ways = ", ".join(WAY_WORDS[way] for way in p.ways.offered)
    measured = "; ".join(_brief(c.text) for c in p.entry if c.kind is not ConditionKind.DECLARED)
    declared = "; ".join(_brief(c.text) for c in p.entry if c.kind is ConditionKind.DECLARED)
    shows, cannot = SHOWS.get(p.id, ("", ""))
    link = f"[{_cell(p.name)}](procedures/{p.id}.md)"
    return f"| {link} | {ways} | {measured or '–'} | {declared or '–'} | {_cell(shows)} | {_cell(cannot)} |"


def _head(p: Procedure, one: Play | None) -> Iterator[str]:
    invented = p.source.kind is SourceKind.FICTIONAL
    if invented:
        yield "> **Invented.** No such car or manual exists. Never use these numbers on a car."
    checked = f", checked by {p.source.checked_by}" if p.source.checked_by else ", not checked by a second person"
    car = " ".join(part for part in (p.applies.make, p.applies.model) if part) or "any car"
    years = f", {p.applies.years[0]} to {p.applies.years[1]}" if p.applies.years else ""
    lines = [
        f"- for: {car}{years}; module: {p.module}; function: `{p.function}`, risk {p.risk}",
        f"- source: {p.source.text}; entered by {p.source.entered_by or 'nobody named'}{checked}",
    ]
    if p.minutes is not None:
        minutes = f"{p.minutes.active:g} min of work, {p.minutes.elapsed:g} min in all"
        lines.append(f"- state: {p.state or 'not given'}; {minutes}")
    if one is not None:
        lines.append(f"- played on bench car `{one.car}`: `asleft demo --unattended --procedure {p.id}`")
    yield "\n".join(lines)
    if picture_path(p.id).is_file():
        yield f"![What a passing run on the bench measured](../pictures/{picture_path(p.id).name})"


def _when(p: Procedure) -> Iterator[str]:
    if p.triggers:
        yield "## When\n\n" + _list(p.triggers)
    if p.tools:
        yield "Tools: " + "; ".join(p.tools) + "."
    if p.cautions:
        yield "## Cautions\n\n" + _list(p.cautions) + "\n\nThe licensed manual and local codes go before this page."
    block, expected = p.screening.block, p.screening.expected
    if block or expected:
        told = [f"Blocks: {', '.join(block)} (would be learned over; repair first)."] if block else []
        told += [f"Expected, and gone in the end: {', '.join(expected)}."] if expected else []
        yield "## Trouble codes before it begins\n\n" + "\n".join(told)


def _conditions(p: Procedure) -> Iterator[str]:
    if not p.entry:
        return
    watched = {condition.id: asks for condition, asks in p.watched}
    rows = list[str]()
    for c in p.entry:
        declared = c.kind is ConditionKind.DECLARED
        how = "declared" if declared else f"measured: {c.signal}"
        held = f"{c.hold_s:g} s" if c.hold_s else "–"
        limits = "–" if declared else _cell(c.printed or _limits(c.low, c.high, c.unit))
        asks = watched.get(c.id)
        meanwhile = f"watched: {asks.value}s" if asks is not None else "–"
        rows.append(f"| {_cell(c.text)} | {limits} | {held} | {how} | {meanwhile} | {_cell(c.source)} |")
    head = "| condition | as printed | held | how | while it runs | source |\n| --- | --- | --- | --- | --- | --- |\n"
    yield "## Conditions\n\n" + head + "\n".join(rows)


def _ways(p: Procedure) -> Iterator[str]:
    identifier = None
    if p.identifier is not None:
        text = p.identifier.rows[0].identifier if p.identifier.rows else ""
        identifier = parse(text, p.identifier.printed) if text else None
        source = f"from {p.identifier.where}" if p.identifier.where else "typed from the manual"
        shown = f"; shown here with {text}" if text else ""
        yield f"## Steps and bytes\n\nRoutine identifier: {source}{shown}.\n\n{READS}"
    elif p.ways.offered:
        yield f"## Steps and bytes\n\n{READS}"
    for way in p.ways.offered:
        rows = [
            f"| {_cell(line.step)} | {line.effect.value} | {_bytes(line.sends)} | "
            f"{_cell(line.what.text)}{_blank(line)} |"
            for line in dry_run(p, way, identifier)
        ]
        head = "| step | effect | sends | what |\n| --- | --- | --- | --- |\n"
        yield f"### {WAY_WORDS[way].capitalize()}\n\n{head}" + "\n".join(rows)
    after = [f"- back: {p.restore}"] if p.restore else []
    after += [f"- after an interruption: {_brief(p.after_interruption)}"] if p.after_interruption else []
    after += [f"- stays open on the record: {'; '.join(p.open_items)}"] if p.open_items else []
    if after:
        yield "### Afterwards\n\n" + "\n".join(after)


def _proof(p: Procedure) -> Iterator[str]:
    if not p.criteria and not p.proof_in_words:
        return
    rows = "\n".join(_criterion(c) for c in p.criteria)
    head = "| criterion | limit | whose | from |\n| --- | --- | --- | --- |\n"
    yield "## Proof\n\n" + (head + rows if rows else "")
    if p.proof_in_words:
        yield p.proof_in_words
    shows, cannot = SHOWS.get(p.id, ("", ""))
    if shows:
        yield f"It can show: {shows}.\n\nIt cannot show: {cannot}."


def _criterion(c: Criterion) -> str:
    if isinstance(c, CodeAbsent):
        cycles = f", {c.cycles} key cycles after the clear" if c.cycles else ""
        return f"| {_cell(c.name)} | {', '.join(c.codes)} absent{cycles} | – | trouble codes |"
    limits = c.limits
    whose = (
        "the manual's, as printed" if limits.owner == "printed" else f"ours, guarded ({limits.source or 'no source'})"
    )
    whole = _limits(limits.low, limits.high, limits.unit) or "reported only"
    return f"| {_cell(c.name)} | {whole} | {_cell(whose)} | {', '.join(recordings_of(c))} |"


def _causes(p: Procedure) -> Iterator[str]:
    if p.causes:
        parts = [f"**{c.seen}**\n\n{_list(c.causes)}" for c in p.causes]
        yield "## Causes\n\nListed in the order of the page; the record names those that fit what was seen.\n\n" + (
            "\n\n".join(parts)
        )


def _fails(one: Play | None) -> Iterator[str]:
    if one is None or not one.fails:
        return
    rows = [f"| `{how}` | {_cell(f.why)} | {_verdict(f.verdict)} |" for how, f in one.fails.items()]
    head = "| `--fail` | what is different at the car | verdict |\n| --- | --- | --- |\n"
    yield "## Runs that do not pass\n\n" + head + "\n".join(rows)


def _blank(line: DryLine) -> str:
    """What is not known without the car; that readings depend on the car stands once, above."""
    return f" ({_cell(line.blank.text)})" if line.blank and line.effect is not Effect.READS else ""


def _verdict(verdict: Verdict) -> str:
    return verdict.value.replace("_", " ")


def _limits(low: float | None, high: float | None, unit: str) -> str:
    if low is not None and high is not None:
        return f"{short(low)} to {with_unit(short(high), unit)}"
    if low is not None:
        return f"at least {with_unit(short(low), unit)}"
    return "" if high is None else f"at most {with_unit(short(high), unit)}"


def _bytes(sends: tuple[str, ...]) -> str:
    return ", ".join(f"`{bytes.fromhex(one).hex(' ').upper()}`" for one in sends) or "nothing"


def _list(texts: tuple[str, ...]) -> str:
    return "\n".join(f"- {_brief(text)}" for text in texts)


def _brief(text: str) -> str:
    return re.sub(r"\s+", " ", text).strip()


def _cell(text: str) -> str:
    return _brief(text).replace("|", "\\|")


def picture_path(name: str) -> Path:
    """Where the picture of a procedure lies."""
    return DOCS / "pictures" / f"procedure-{name}.svg"


def pictured(p: Procedure, judgements: tuple[Judgement, ...]) -> Judgement | None:
    """The judgement that becomes the picture."""
    codes = {c.id for c in p.criteria if isinstance(c, CodeAbsent)}
    rooms = {c.id for c in p.criteria if type(c).__name__ == "LearnedRoom"}
    limited = [j for j in judgements if j.rule is not Rule.REPORT_ONLY and j.value is not None]
    found = [j for j in limited if j.criterion not in codes]
    named = [j for j in found if j.criterion == PICTURED.get(p.id)]
    return next(iter(named or [j for j in found if j.criterion not in rooms] or found), None)


def picture(loaded: LoadedProcedure, judgements: tuple[Judgement, ...]) -> str:
    """The number line of its run as SVG; empty when nothing was measured."""
    judgement = pictured(loaded.procedure, judgements)
    return number_line(judgement, size=SIZE, look=Look.ALONE) + "\n" if judgement is not None else ""


def played(name: str) -> tuple[Judgement, ...]:
    """Judgements of a passing run of a play. Raises RuntimeError: it did not pass."""
    with tempfile.TemporaryDirectory() as folder:
        result = play(PLAYS[name], Path(folder))
    if not result.passed or result.run is None:
        raise RuntimeError(f"{name} did not pass: {result.verdict.value}")
    return result.run.judgements


def demo_judgements() -> dict[str, tuple[Judgement, ...]]:
    """Function -> judgements of the main demo job, for the procedures that it proves."""
    with tempfile.TemporaryDirectory() as folder:
        state = run_unattended(Path(folder)).state
    return {run.started.procedure: run.judgements for run in state.runs.values() if run.judgements}


def write_pictures(loaded: tuple[LoadedProcedure, ...]) -> None:
    """Play every procedure and keep its number line."""
    demo = demo_judgements()
    for one in loaded:
        name = one.procedure.id
        judgements = played(name) if name in PLAYS else demo.get(name, ())
        svg = picture(one, judgements)
        if svg:
            picture_path(name).write_text(svg, encoding="utf-8")


def texts(loaded: tuple[LoadedProcedure, ...]) -> dict[Path, str]:
    """File -> its text."""
    pages = {DOCS / "procedures" / f"{p.procedure.id}.md": page(p, PLAYS.get(p.procedure.id)) for p in loaded}
    return {**pages, DOCS / "procedures.md": table(loaded)}


def main() -> int:
    """Write everything."""
    loaded = book()
    if "--texts" not in sys.argv[1:]:
        write_pictures(loaded)
    (DOCS / "procedures").mkdir(exist_ok=True)
    for path, text in texts(loaded).items():
        path.write_text(text, encoding="utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main())
