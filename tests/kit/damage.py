"""Good records and records damaged in every kind of way, for all ways of checking."""

from __future__ import annotations

import random
from collections.abc import Callable, Iterator
from pathlib import Path

from asleft.event.body import JobClosed, SamplesTaken
from asleft.model.message import Message
from asleft.model.reading import Series
from asleft.record.export import record_of
from asleft.record.journal import open_journal
from asleft.record.keys import SigningKey, rotate

from .record_kit import JOB, HandClock, Source, note, opened

Members = dict[str, bytes]

KINDS = ("bytes", "order", "checkpoint", "key", "chunk", "cut")


def good_record(folder: Path, events: int = 70) -> Members:
    """A closed job over a rotation of keys, with two chunks, personal values and ``events`` notes."""
    key = SigningKey.load_or_make(folder)
    times = tuple(n / 10 for n in range(600))
    with open_journal(folder, key=key) as journals:
        with journals.create(JOB, source=Source(), clock=HandClock()) as journal:  # pyright: ignore[reportArgumentType]
            journal.append(opened())
            for start in (0, 600):
                values = tuple(700.0 + (n + start) % 13 for n in range(600))
                journal.append(SamplesTaken("r1", f"w{start}", (Series("engine-speed", "rpm", times, values, 0.25),)))
            for number in range(events - 2):
                journal.append(note(f"Grüße {number / 7} \t😀", n=str(number)))
        key = rotate(folder, wall="2031-04-17T08:00:00.000Z", reason="yearly")
    with open_journal(folder, key=key) as journals:
        journal = journals.reopen(JOB, source=Source(), clock=HandClock())  # pyright: ignore[reportArgumentType]
        journal.append(JobClosed(Message("end", "left as shown", {}), "R. Okafor", True, journal.counts()))
        members = record_of(journal, key).members()
        journal.give_back()
        return members


def damaged(members: Members, kind: str, count: int, seed: int = 1) -> Iterator[tuple[str, Members]]:
    """``count`` different damaged records of a kind, each with words for what was done."""
    chance = random.Random(f"{kind}{seed}")
    made: set[int] = set()
    while len(made) < count:
        text, changed = _KINDS[kind](dict(members), chance)
        mark = hash(tuple(sorted(changed.items())))
        if changed != members and mark not in made:
            made.add(mark)
            yield text, changed


def _flip(members: Members, name: str, chance: random.Random) -> tuple[str, Members]:
    content = bytearray(members[name])
    place, bit = chance.randrange(len(content)), chance.randrange(8)
    content[place] ^= 1 << bit
    return f"{name}: bit {bit} of byte {place}", {**members, name: bytes(content)}


def _bytes(members: Members, chance: random.Random) -> tuple[str, Members]:
    return _flip(members, "events.jsonl", chance)


def _order(members: Members, chance: random.Random) -> tuple[str, Members]:
    lines = members["events.jsonl"].splitlines(keepends=True)
    a, b = chance.sample(range(len(lines)), 2)
    what = chance.choice(("swap", "delete", "double", "move"))
    if what == "swap":
        lines[a], lines[b] = lines[b], lines[a]
    elif what == "delete":
        del lines[a]
    else:
        line = lines[a] if what == "double" else lines.pop(a)
        lines.insert(b, line)
    return f"{what} {a} {b}", {**members, "events.jsonl": b"".join(lines)}


def _checkpoint(members: Members, chance: random.Random) -> tuple[str, Members]:
    if chance.random() < 0.8:
        return _flip(members, chance.choice(("seals.jsonl", "head", "head.sig")), chance)
    lines = members["seals.jsonl"].splitlines(keepends=True)
    del lines[chance.randrange(len(lines))]
    return "a seal deleted", {**members, "seals.jsonl": b"".join(lines)}


def _key(members: Members, chance: random.Random) -> tuple[str, Members]:
    return _flip(members, chance.choice(("keys.jsonl", "key.pem")), chance)


def _chunk(members: Members, chance: random.Random) -> tuple[str, Members]:
    name = chance.choice([name for name in members if name.startswith("chunks/")])
    if chance.random() < 0.8:
        return _flip(members, name, chance)
    return f"{name} deleted", {n: c for n, c in members.items() if n != name}


def _cut(members: Members, chance: random.Random) -> tuple[str, Members]:
    name = chance.choice([name for name in members if name not in {"personal.jsonl"}])
    return f"{name} cut", {**members, name: members[name][: chance.randrange(len(members[name]))]}


_KINDS: dict[str, Callable[[Members, random.Random], tuple[str, Members]]] = {
    "bytes": _bytes,
    "order": _order,
    "checkpoint": _checkpoint,
    "key": _key,
    "chunk": _chunk,
    "cut": _cut,
}
