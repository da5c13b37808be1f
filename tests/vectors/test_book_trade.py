"""The catalogue beside the trade's own text, field by field. Skips where the document is absent."""

from __future__ import annotations

import re
from difflib import SequenceMatcher
from pathlib import Path

import pytest

from asleft.book.catalogue_entries import Entry, catalogue
from asleft.book.functions import FUNCTIONS, Kind

LABELS = {
    "why": "Why",
    "after": "After",
    "skipped": "Skipped",
    "entry": "Entry",
    "wire": "Wire",
    "hand": "Hand",
    "done": "Done",
    "proof": "Proof",
    "fails": "Fails",
    "caution": "Caution",
    "state": "State/min",
    "order": "Order",
}
#: Where our text stands for a reference to another section.
OURS = {("module-coding", "caution"), ("seat-occupancy-zero", "caution"), ("hv-isolation", "caution")}


@pytest.fixture(scope="module")
def trade(checks: Path) -> dict[str, str]:
    path = checks.parent / "trade" / "TRADE.md"
    if not path.is_file():
        pytest.skip("the trade document is not beside the check data")
    text = path.read_text(encoding="utf-8")
    text = text[text.index("### 2.1 Engine air") : text.index("### 2.9 Planner")]
    parts = re.split(r"#### `([a-z-]+)` — .*\n", text)[1:]
    return {slug: body.split("\n### ")[0] for slug, body in zip(parts[::2], parts[1::2], strict=True)}


def fields_of(body: str) -> dict[str, str]:
    body = body.replace("**Done and proof**", "**Done** see proof **Proof**")
    names = "|".join(re.escape(label) for label in LABELS.values())
    parts = re.split(rf"\*\*({names})\*\*", body)
    return dict(zip(parts[1::2], parts[2::2], strict=True))


def spelt_out(slug: str, text: str) -> str:
    """Blocks R and H under the names we give them."""
    rules = {Kind.RESTRAINT: ("R", "restraint rules"), Kind.HIGH_VOLTAGE: ("H", "the high voltage rules")}
    letter, name = rules.get(FUNCTIONS[slug].kind, ("", ""))
    return re.sub(rf"\b(block )?{letter}\b", name, text) if letter else text


def words(text: str) -> list[str]:
    text = re.sub(r"`\[(?:std|src|mem|calc|cp)[^\]]*\]`", "", text)
    text = re.sub(r"§[\d.]+", "", text)
    return re.findall(r"[^\W_]+", text)


@pytest.mark.parametrize("slug", list(FUNCTIONS))
def test_every_field_says_what_the_trade_says(trade: dict[str, str], slug: str) -> None:
    entry, theirs = catalogue()[slug], fields_of(trade[slug])
    for field, label in LABELS.items():
        if (slug, field) in OURS:
            continue
        mine, printed = words(getattr(entry, field)), words(spelt_out(slug, theirs[label]))
        likeness = SequenceMatcher(None, mine, printed, autojunk=False).ratio()
        short = len(printed) < 12
        assert likeness >= (0.5 if short else 0.93), (slug, field, mine, printed)


@pytest.mark.parametrize("slug", list(FUNCTIONS))
def test_every_code_of_the_trade_is_there(trade: dict[str, str], slug: str) -> None:
    printed = re.findall(r"\b[PCBU][0-3][0-9A-F]{3}\b", fields_of(trade[slug])["Skipped"])
    ours = {code for text in catalogue()[slug].codes for code in text.split("..")}
    assert set(printed) <= ours


@pytest.mark.parametrize("slug", list(FUNCTIONS))
def test_provenance_names_every_standard(trade: dict[str, str], slug: str) -> None:
    entry: Entry = catalogue()[slug]
    tags = re.findall(r"`\[(?:std|src): ([^\]]*)\]`", trade[slug])
    for tag in tags:
        first = re.split(r"[;,]| — ", tag.replace("✓", ""))[0].strip()
        assert any(first in said for said in entry.provenance), (tag, entry.provenance)
