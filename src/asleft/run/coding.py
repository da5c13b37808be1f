"""A module's coding by wire: read and kept, composed or restored, every difference in words, written once, read back.

What an option becomes is said by witnesses (as received, the fitted module, neighbours). Two of different kinds that
agree are enough; one alone is put to a person; where they contradict each other a person chooses; where nobody says
anything it is typed twice from paper. Unknown bits stay as they were.
"""

from __future__ import annotations

import hashlib

import msgspec

from asleft.book.layouts import own_layout
from asleft.book.printed import two_bytes
from asleft.coding.compare import Change, Comparison, compare
from asleft.coding.compose import base_for, compose
from asleft.coding.decode import broken_rules, must_be_long
from asleft.coding.layout import Layout
from asleft.event import body as b
from asleft.model.effect import Effect
from asleft.model.errors import Code, InputError
from asleft.model.message import say
from asleft.model.module import Item
from asleft.model.question import Question, QuestionKind
from asleft.model.reading import to_hex
from asleft.model.step_coding import Coding

from . import wire
from .asking import STOP, ask, ask_choice
from .coding_answers import settle_options
from .context import RunContext
from .writing import read_bytes, write_once

COMPOSE = "compose it for this car"


class Changed(msgspec.Struct, frozen=True):
    """What a coding step wrote, kept for the tries at the car."""

    layout: str
    coding: str
    changes: tuple[Change, ...]


async def coding_step(run: RunContext, step: Coding) -> None:
    """Carry it out.

    Raises: InputError (coding-refused): another part number, a rule, an unstable reading, a second write without a
        reason. RunError (stopped-by-person); as ``write_once``.
    """
    layout = own_layout(step.layout)
    must_be_for(run, layout)
    digest = hashlib.sha256(msgspec.json.encode(layout)).hexdigest()
    text = "layout: {name}, revision {revision}, {source}; SHA-256 of its content {digest}"
    told = {"name": layout.name, "revision": layout.revision, "source": layout.source, "digest": digest}
    run.log.write(b.Noted(say("coding.layout", text, **told)))
    identifier = two_bytes(layout.identifier, layout.printed)
    fitted = await _as_found(run, step, layout, identifier)
    stored = stored_codings(run, layout)
    restored = await _restored(run, layout, fitted, stored)
    if restored is None:
        base = base_for(layout, fitted, _received(layout, stored))
        options = await settle_options(run, layout, fitted, _received(layout, stored))
        value, why = compose(layout, base, options.values), options.why
    else:
        value, why = restored, {}
    found = compare(layout, fitted, value)
    if found.same and value == fitted:
        run.log.write(b.Noted(say("coding.same", "{name}: it is as it should be; nothing is written", name=step.name)))
    else:
        await _reason(run, identifier)
        await write_once(run, step.id, step.name, identifier, value, step.restore, explained(found, why))
    kept = Changed(layout.id, to_hex(value), found.changes)
    run.typed[step.save] = msgspec.json.encode(kept).decode()


def must_be_for(run: RunContext, layout: Layout) -> None:
    """Raises InputError (coding-refused): the layout is not for exactly this part and software number."""
    numbers = run.module.value("part-number"), run.module.value("software-number")
    if not layout.is_for(*numbers):
        why = f"the module is {' '.join(numbers)}; {layout.name} is not for it"
        raise InputError(Code.CODING_REFUSED, why, layout.id)


def explained(found: Comparison, why: dict[str, str]) -> tuple[str, ...]:
    """Every difference in words, with who says so."""
    lines = [c.text + (f" ({why[c.option]})" if c.option in why else "") for c in found.changes]
    if found.unknown:
        lines.append(f"bits that the source does not explain, taken from the stored picture: {found.unknown}")
    return tuple(lines) or ("no option differs; only its check",)


async def _as_found(run: RunContext, step: Coding, layout: Layout, identifier: int) -> bytes:
    """Read twice, equal, and kept."""
    target = run.module.address
    with run.log.step(f"{step.id}-found", say("step.read", "read: {name}", name=step.name)) as end:
        first, second = [await read_bytes(run.ports, target, identifier) for _ in range(2)]
        if first != second:
            raise InputError(Code.CODING_REFUSED, "read twice, it is not the same", layout.id)
        must_be_long(layout, first)
        item = Item("coding", layout.name, to_hex(first), to_hex(first))
        picture = msgspec.structs.replace(run.module, coding=(item,))
        run.log.write(b.ModulePictureTaken(run.log.run, step.id, "before", picture))
        kind = "blank, as a new module's" if layout.is_blank(first) else "coded"
        end.message = say("coding.found", "{bytes}: {kind}", bytes=first.hex(" ").upper(), kind=kind)
    return first


def stored_codings(run: RunContext, layout: Layout) -> dict[str, bytes]:
    """Codings of this module that the record holds, by where they come from, oldest first; blank ones left out."""
    found: dict[str, bytes] = {}
    for event in run.ports.journal.events():
        if isinstance(event.body, b.PictureTaken):
            picture, name = event.body.picture.module(layout.module), event.body.picture.kind.value
        elif isinstance(event.body, b.ModulePictureTaken):
            picture, name = event.body.picture, f"{event.body.when} {event.body.run}"
            if picture.address.name != layout.module:
                continue
        else:
            continue
        raw = next((i.raw for i in picture.coding if i.key == "coding" and i.raw), "") if picture else ""
        data = bytes.fromhex(raw)
        if len(data) == layout.length and not layout.is_blank(data) and data not in found.values():
            found[name] = data
    return found


def _received(layout: Layout, stored: dict[str, bytes]) -> bytes | None:
    data = stored.get("as-received")
    return None if data is None or broken_rules(layout, data) else data


async def _restored(run: RunContext, layout: Layout, fitted: bytes, stored: dict[str, bytes]) -> bytes | None:
    """The stored picture that a person asks for; None: it is composed. A blank module is composed."""
    offered = {f"restore {name}: {data.hex().upper()}": data for name, data in stored.items() if data != fitted}
    if not offered or layout.is_blank(fitted):
        return None
    text = say("coding.what", "{name}: what is to be written?", name=layout.name)
    answer = await ask_choice(run.log, text, (COMPOSE, *offered, STOP))
    return offered.get(answer.text)


async def _reason(run: RunContext, identifier: int) -> None:
    """A second write to this module in the job has a reason, or is refused."""
    bodies = (e.body for e in run.ports.journal.events())
    written = [i.intent for i in bodies if isinstance(i, b.IntentWritten) and i.intent.effect is Effect.WRITES]
    protocol = run.ports.protocol
    named = ((i, wire.written_in(bytes.fromhex(i.payload), protocol)) for i in written)
    earlier = [intent for intent, what in named if what is not None and what[0] == identifier]
    if not any(i.target.place == run.module.address.place for i in earlier):
        return
    if not run.log.reason:
        text = "It was written {n} time(s) before in this job. Why once more?"
        question = Question(run.log.number("q"), QuestionKind.TYPE, say("coding.again", text, n=len(earlier)), (STOP,))
        run.log.reason = (await ask(run.log, question)).text.strip()
    if not run.log.reason:
        raise InputError(Code.CODING_REFUSED, "a second write without a reason")
