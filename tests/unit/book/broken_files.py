"""A corpus of broken procedure files: each one slip in a good file, or no procedure at all. Golden messages beside it.

``python tests/unit/book/broken_files.py`` writes the golden messages anew; read the difference before keeping it.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from asleft.book.loader import ProcedureError, read_procedure
from asleft.book.shelf import OWN_FOLDER, TEMPLATES

GOLDEN = Path(__file__).with_name("broken_files.golden")
GOOD = (OWN_FOLDER / "throttle-stop-learn-aldra.yaml").read_text(encoding="utf-8")
TEMPLATE = (TEMPLATES / "airbag-config.yaml").read_text(encoding="utf-8")
CODING = (OWN_FOLDER / "body-coding-aldra.yaml").read_text(encoding="utf-8")

#: Ways to write a number that some reader of YAML takes for another one, or for none.
NUMBERS = (
    "012.0",
    "00",
    "0x0C",
    "0o14",
    "0b11",
    "1e3",
    "1E-3",
    "1_000",
    ".5",
    "5.",
    "+5",
    "1,5",
    "12 V",
    "12V",
    ".inf",
)
NUMBERS += ("-.inf", ".nan", "~", "null", '"12"', "yes", "12:30", "2026-01-02", "١٢", "１２", "−5", "[12]", "{a: 1}")
#: Texts that must stand in quotes.
TEXTS = ("yes", "No", "on", "OFF", "y", "true", "null", "~", "12", "1.6", "1e3", "007", "0x1F", "12:30", "2026-01-02")
TEXTS += (".5", "-7", "1_000", ".nan", "=", "0o17", "5E31")
#: Truth values that are none.
TRUTHS = ("yes", "no", "on", "True", "TRUE", "1", '"true"', "y")
#: Keys that are near or look alike.
KEYS = ("hold_s", "holds", "hold-S", "Hold-s", "hоld-s", "hold-s ", "unit-s")
#: Units that are none.
UNITS = ("C", "degC", "ºC", "volt", "v", "Volt", "kph", "1/min", "mV²", "Ohm", "Ω·m", '""')
LINES = {
    "function": ("Throttle", "throttle_stop", "-throttle", "throttle--stop", "thröttle"),
    "revision": ("0", "-1", "1.0", "one"),
    "risk": ("0", "5", "high"),
    "state": ("keo", "idle", "Koeo"),
    "id": ("Throttle", "throttle stop", "0-learn"),
    "module": ("Engine", "engine module"),
}
REPLACED = (
    ("    - P2101", "    - P21"),
    ("    - P2101", "    - X2101"),
    ("    - P2101", "    - P2O01"),
    ("    - P2101", "    - P2101-5"),
    ("    - P2101", "    - P2101..2105"),
    ("  others: unsorted", "  others: sorted"),
    ("asks: stop", "asks: halt"),
    ("holds: supply", "holds: suply"),
    ("holds: supply", "holds: hands-clear"),
    ("kind: within", "kind: inside"),
    ("kind: declared", "kind: declared\n    signal: engine-speed"),
    ("    low: 12.0\n", ""),
    ("    high: 15.0\n", ""),
    ("    low: 12.0\n    high: 15.0\n", "    low: 15.0\n    high: 12.0\n"),
    ("leave-low: 11.8", "leave-low: 12.8"),
    ("leave-high: 15.2", "leave-high: 14.2"),
    ("hold-s: 2", "hold-s: -2"),
    ("signal: coolant-temperature", "signal: coolant"),
    ("    signal: coolant-temperature\n", ""),
    ("    unit: V", "    unit: km/h"),
    ("printed: hex", "printed: octal"),
    ("  typed: true", "  typed: false\n  rows: []\n  unused: 1"),
    ('identifier: "0x5A21"', 'identifier: "5A2"'),
    ('identifier: "0x5A21"', 'identifier: "5A2G"'),
    ('identifier: "0x5A21"', "identifier: 0x5A21"),
    ("part-number: ENG-1620-2", "part-number: ENG-1620-1"),
    ("type: routine-start", "type: routine"),
    ("type: session", "typ: session"),
    ("      session: 3", "      session: three"),
    ("      id: sweep", "      id: result"),
    ("      save: sweep", "      save: rest"),
    ("    saved: sweep", "    saved: swep"),
    ("suspends: [pedal-at-rest]", "suspends: [pedal]"),
    ("seconds: 14", "seconds: 0"),
    ("        - {value: 4, state: refused", "        - {value: 3, state: refused"),
    ("times: 5", "times: 0"),
    ("timeout-s: 30", "timeout-s: 0.5"),
    ("every-s: 0.5", "every-s: 0"),
    ("[throttle-absolute, throttle-commanded,", "[throttle-absolut, throttle-commanded,"),
    ("form: rest-range", "form: rest"),
    ("owner: ours", "owner: mine"),
    ("      low: 0.95\n", "      low: 1.95\n"),
    ("codes: [P2176]", "codes: []"),
    ("codes: [P2176]", "codes: [P217]"),
    ("years: [2010, 2020]", "years: [2020, 2010]"),
    ("years: [2010, 2020]", "years: [2010]"),
    ("propulsion: petrol", "propulsion: steam"),
    ("elapsed: 5}", "elapsed: 4}"),
    ("active: 5", "active: -5"),
    ("triggers:\n", "triggers: none\nunused:\n"),
    ("interlocks:\n", "interlocks: {holds: supply}\nunused:\n"),
    ("revision: 1\n", "revision: 1\nrevision: 2\n"),
    ("revision: 1\n", "revision: &a 1\n"),
    ("revision: 1\n", "revision: !!int 1\n"),
    ("revision: 1\n", "revision: *a\n"),
    ("revision: 1\n", "<<: {revision: 1}\n"),
    ("revision: 1\n", "revision:\t1\n"),
    ("name: Electronic", "name: Elec\u200btronic"),
    ("name: Electronic", "name: \u202eElectronic"),
    ("name: Electronic", "nаme: Electronic"),
    ("name: Electronic", "name: E\u0301lectronic"),
    ("causes:\n  - seen", "causes:\n  - sen"),
    ("name: Electronic", "name: " + "long " * 500 + "Electronic"),
)
_HEAD = b"id: x\nfunction: f\nname: some name\nrevision: 1\nsource: {}\n"
_QUESTION = b"ways: {questions: [{id: a, text: some, choices: [park, drive], agree: [%s]}]}\n"
_SPEED = b"{id: %s, text: some, signal: engine-speed, unit: rpm, kind: %s}"
WHOLE: tuple[bytes, ...] = (
    b"",
    b"# only a remark\n",
    b"just words\n",
    b"- a\n",
    b"id: \xff\n",
    "id: a".encode("utf-16"),
    b"\xef\xbb\xbfid: a\n",
    b"id: a\x00\n",
    b"id: [\n",
    b"id: 'a\n",
    b"id: a: b\n",
    b"? [a]\n: b\n",
    b"id: a\n---\nid: b\n",
    b"a: " + b"[" * 40 + b"]" * 40,
    b"a: [" + b"1," * 21_000 + b"1]",
    b"a" * 400_001,
    b"a: &a [x]\nb: [*a, *a]\n",
    b"quick: idle-relearn\n",
    b"quick: idle-relearn\nsource: {page: 1}\n",
    _HEAD + b"ways: {by-wire: [{type: routine-result, id: r}]}\n",
    _HEAD + b"ways: {by-wire: [{type: write, id: w, name: some, identifier: '1', printed: hex}]}\n",
    _HEAD + b"ways: {by-wire: [{type: timed-sequence, id: t, text: t, marks: []}]}\n",
    _HEAD + b"risk: 3\nentry: [{id: a, text: a, kind: declared, waivable: true}]\n",
    _HEAD + b"ways: {look: [{id: a, name: some}]}\n",
    _HEAD + b"ways: {look: [{id: a, name: some, identifier: F1, signals: [engine-speed]}]}\n",
    _HEAD + b"ways: {look: [{id: a, name: some, signals: [engine]}, {id: a, name: some, identifier: F190}]}\n",
    _HEAD + b"ways: {questions: [{id: a, text: some, choices: [one]}]}\n",
    _HEAD + b"ways: {questions: [{id: a, text: some, choices: [one, one]}, {id: a, text: some, choices: [a, b]}]}\n",
    _HEAD + b"ways: {by-hand: [{type: ask, id: a, text: some, choices: [left, left]}]}\n",
    _HEAD + _QUESTION % b"{answer: parked, condition: {id: c, text: c, kind: declared}}",
    _HEAD + _QUESTION % b"{answer: park, condition: {id: c, text: c, kind: at-most, signal: engine, high: 1}}",
    _HEAD + b"sources: [{at: 'entry[1].low', source: {page: 1-2}}]\n",
    _HEAD + b"sources: [{at: 'entry(1)', source: {page: 1-2}}]\n",
    _HEAD + b"applies: {numbers: [{software-number: S1}]}\n",
    _HEAD
    + b"entry: ["
    + _SPEED % (b"a", b"at-most, high: 0")
    + b", "
    + _SPEED % (b"b", b"at-least, low: 500")
    + b"]\n",
)


def broken() -> Iterator[tuple[str, bytes]]:
    """Name and bytes of each broken file."""
    for n, text in enumerate(NUMBERS):
        yield f"number-{n}", GOOD.replace("    low: 12.0", f"    low: {text}", 1).encode()
    for n, text in enumerate(TEXTS):
        yield f"text-{n}", GOOD.replace('model: "1.6"', f"model: {text}", 1).encode()
    for n, text in enumerate(TRUTHS):
        yield f"truth-{n}", GOOD.replace("  typed: true", f"  typed: {text}", 1).encode()
    for n, text in enumerate(KEYS):
        yield f"key-{n}", GOOD.replace("    hold-s: 3", f'    "{text}": 3', 1).encode()
    for n, text in enumerate(UNITS):
        yield f"unit-{n}", GOOD.replace("    unit: V", f"    unit: {text}", 1).encode()
    for key, values in LINES.items():
        old = next(line for line in GOOD.splitlines() if line.startswith(f"{key}:"))
        for n, value in enumerate(values):
            yield f"{key}-{n}", GOOD.replace(old, f"{key}: {value}", 1).encode()
    for key in ("id", "function", "name", "revision"):
        old = next(line for line in GOOD.splitlines() if line.startswith(f"{key}:"))
        yield f"without-{key}", GOOD.replace(old + "\n", "", 1).encode()
    for n, (old, new) in enumerate(REPLACED):
        assert old in GOOD, old
        yield f"replaced-{n}", GOOD.replace(old, new, 1).encode()
    for n, data in enumerate(WHOLE):
        yield f"whole-{n}", data
    yield "hard-stop", TEMPLATE.replace("ways:\n", "ways:\n  by-wire:\n    - {type: clear, id: clear}\n").encode()
    yield "coding-layout", CODING.replace("layout: body-aldra", "layout: body-aldro").encode()
    yield "coding-module", CODING.replace("module: body", "module: cluster").encode()
    yield "coding-of", CODING.replace("of: coding", "of: codings").encode()


def messages(data: bytes) -> list[str]:
    """What the loader says; empty when it says nothing."""
    try:
        read_procedure(data, "p.yaml")
    except ProcedureError as bad:
        return [f"{remark.code} {remark.text}" for remark in bad.remarks]
    return []


def golden() -> str:
    """All messages of all files."""
    return "".join(f"{name}\n" + "".join(f"    {m}\n" for m in messages(data)) for name, data in broken())


if __name__ == "__main__":
    GOLDEN.write_text(golden(), encoding="utf-8")
