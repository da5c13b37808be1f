"""Finding work items by words: exact names and synonyms are taken, everything else is only offered. Pure."""

from __future__ import annotations

import math
import re
from collections import Counter
from collections.abc import Iterable

from asleft.model.errors import Code, InputError
from asleft.model.work import WorkItem

from .work_rows import WORK_ROWS, WorkRow

_BY_ID = {row.id: row for row in WORK_ROWS}

#: All work items, in the order of the table.
WORK_ITEMS: tuple[WorkItem, ...] = tuple(WorkItem(row.id, row.text) for row in WORK_ROWS)

_EMPTY = frozenset("a an and at by for from in its of on or that the to was were with".split())  # noqa: SIM905
#: Words taken for one and the same, by the first of each group.
_GROUPS = (
    "tyre tire",
    "petrol gasoline",
    "windscreen windshield",
    "headlamp headlight",
    "removed remove removing off took taken",
    "cleaned clean cleaning",
    "refitted refit fitted",
    "replaced replace changed change changing new",
    "disconnected disconnect unplugged",
    "aligned align alignment",
    "repaired repair fixed",
    "reprogrammed reprogram",
)
_SAME = {word: group.split()[0] for group in _GROUPS for word in group.split()[1:]}


def all_work_items() -> tuple[WorkItem, ...]:
    """All work items, in the order of the table."""
    return WORK_ITEMS


def row_for(item: WorkItem) -> WorkRow:
    """The table row of a work item. Raises InputError: unknown-work-item."""
    return find_row(item.id)


def find_row(words: str) -> WorkRow:
    """The row with this id, text or synonym; case, spaces and punctuation are forgiven.

    Raises: InputError: unknown-work-item, with the nearest offered.
    """
    plain = _plain(words)
    found = [row for row in WORK_ROWS if plain in {_plain(t) for t in _texts(row)}]
    if len(found) == 1:
        return found[0]
    offered = ", ".join(f"{item.id} ({item.text})" for item in suggest(words)) or "see the list of work items"
    raise InputError(Code.UNKNOWN_WORK_ITEM, f'"{words}"; nearest: {offered}')


def find_work_item(words: str) -> WorkItem:
    """The work item with this id, text or synonym. Raises InputError: unknown-work-item, with the nearest offered."""
    row = find_row(words)
    return WorkItem(row.id, row.text)


def suggest(words: str, count: int = 3) -> tuple[WorkItem, ...]:
    """Work items that share the most telling words with what was typed, best first; may be empty."""
    asked = _words([words])
    scored: list[tuple[float, int]] = []
    for row in WORK_ROWS:
        shared = sum(_WEIGHT[word] * share for word, share in _shared(asked, _ROW_WORDS[row.id]))
        best = max(_cover(asked, _words([text])) for text in _texts(row))
        if shared > 0:
            scored.append((-(shared + best), row.number))
    return tuple(WORK_ITEMS[number - 1] for _, number in sorted(scored)[:count])


def _shared(asked: frozenset[str], known: frozenset[str]) -> Iterable[tuple[str, float]]:
    for word in asked:
        if word in known:
            yield word, 1.0
        elif len(word) >= 4:
            near = next((k for k in sorted(known) if _one_slip(word, k)), None)
            if near is not None:
                yield near, 0.6


def _one_slip(a: str, b: str) -> bool:
    """Whether two words differ by one letter put in, left out, changed or swapped with its neighbour."""
    if abs(len(a) - len(b)) > 1 or a == b:
        return a == b
    i = next((n for n, (x, y) in enumerate(zip(a, b, strict=False)) if x != y), min(len(a), len(b)))
    rests = (a[i + 1 :] == b[i + 1 :], a[i + 1 :] == b[i:], a[i:] == b[i + 1 :])
    return any(rests) or (a[i : i + 2] == b[i : i + 2][::-1] and a[i + 2 :] == b[i + 2 :])


def _cover(asked: frozenset[str], known: frozenset[str]) -> float:
    """Share of words in common (Jaccard)."""
    both = asked | known
    return len(asked & known) / len(both) if both else 0.0


def _texts(row: WorkRow) -> tuple[str, ...]:
    return (row.id, row.text, *row.synonyms)


def _plain(text: str) -> str:
    return " ".join(re.findall(r"[a-z0-9]+", text.casefold()))


def _words(texts: Iterable[str]) -> frozenset[str]:
    found = (word for text in texts for word in _plain(text).split())
    return frozenset(_stem(word) for word in found if word not in _EMPTY)


def _stem(word: str) -> str:
    word = word[:-1] if word.endswith("s") and not word.endswith("ss") and len(word) > 3 else word
    return _SAME.get(word, word)


_ROW_WORDS = {row.id: _words(_texts(row)) for row in WORK_ROWS}
_SEEN = Counter(word for words in _ROW_WORDS.values() for word in words)
#: Rare words tell more: ln(rows / rows with the word).
_WEIGHT = {word: math.log(1 + len(WORK_ROWS) / times) for word, times in _SEEN.items()}
