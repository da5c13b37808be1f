"""Measure how far the proofs can be believed and write the tables into docs/proof.md.

    .venv/bin/python scripts/measure_proof.py trials --minutes 3.5    # again and again until it says "all measured"
    .venv/bin/python scripts/measure_proof.py causes --minutes 3.5
    .venv/bin/python scripts/measure_proof.py cars --minutes 3.5
    .venv/bin/python scripts/measure_proof.py write                   # the tables, from what is measured

One core; every slice goes on where the last one ended, in ``build/proof-measured.jsonl``. A row's results count only
as long as its estimator does what it did: each row begins with a few trials whose numbers are part of its name there.
What was seen at a bench car is kept as quantities, so that a change of the table of causes ranks it anew. Each part of
the page stands between markers; the words round it are written by hand. Intervals are two-sided 95 % Clopper-Pearson,
bounds one-sided 95 %.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import numpy as np
import proof_bench as bench
import proof_cars as cars
import proof_trials as trials

from asleft.proof.causes import Ranking, rank
from asleft.proof.estimate import Estimate

ROOT = Path(__file__).resolve().parents[1]
PAGE = ROOT / "docs" / "proof.md"
STATE = ROOT / "build" / "proof-measured.jsonl"
CHUNK, CHUNKS = 500, 20
#: Cars that nobody looked at while the tables of causes were written; sound ones among them for the controls.
TRIAL_CARS = tuple(range(71, 91))
HELD_OUT_CARS, SOUND_CARS = (51,), tuple(range(61, 71))

Known = dict[str, Any]


# -- what is measured already -----------------------------------------------------------------------------------------


def known() -> Known:
    """Results by row and part."""
    if not STATE.exists():
        return {}
    whole = [line for line in STATE.read_text(encoding="utf-8").splitlines() if line.endswith("}")]
    return {entry["key"]: entry["result"] for entry in map(json.loads, whole)}


def keep(key: str, result: object) -> None:
    """Add one result; a line cut off by a kill is not read again."""
    STATE.parent.mkdir(exist_ok=True)
    with STATE.open("a", encoding="utf-8") as file:
        file.write(json.dumps({"key": key, "result": result}) + "\n")


def _digest(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()[:12]


def _kind_row(kind: trials.Kind) -> str:
    seen = list(kind.run(np.random.default_rng(99), 20))
    did = [(f"{e.value:.6g} {e.u:.6g}" if isinstance(e, Estimate) else e.message.text) for e, _ in seen]
    return f"trials/{kind.name}/{kind.noise}/{_digest(repr(did))}"


def _fault_row(fault: trials.Fault) -> str:
    rng = np.random.default_rng(99)
    judged = [trials.judge(fault.criterion, fault.make(rng)) for _ in range(20)]
    did = [(j.verdict.value, j.value and f"{j.value:.6g}", j.u and f"{j.u:.6g}") for j in judged]
    return f"faults/{fault.name}/{fault.what}/{_digest(repr(did))}"


def _look_row(seed: int, fault: str, size: float | None, ambient_c: float) -> str:
    code = _digest((Path(__file__).with_name("proof_bench.py")).read_text(encoding="utf-8"))
    return f"looks/{seed}/{fault}/{size}/{ambient_c}/{code}"


# -- measuring --------------------------------------------------------------------------------------------------------

Work = tuple[str, Callable[[], object]]


def trial_work() -> Iterator[Work]:
    """All parts of the tables of trials: a first part of every row, then the faults, then the estimators in turn."""
    faults = [(f, _fault_row(f)) for f in trials.FAULTS]
    kinds = [(kind, _kind_row(kind)) for kind in trials.KINDS]
    for chunks in (range(1), range(1, CHUNKS)):
        for k in chunks:
            for fault, row in faults:
                yield f"{row}/{k}", lambda f=fault, k=k: trials.false_passes(f.criterion, f.make, CHUNK, seed=2000 + k)
        for k in chunks:
            for kind, row in kinds:
                yield f"{row}/{k}", lambda kind=kind, k=k: vars(trials.tried(kind, CHUNK, seed=1000 + k))


def _looks() -> Iterator[tuple[int, str, float | None, float]]:
    for seed in (*SOUND_CARS, *HELD_OUT_CARS):
        yield seed, "", None, 21.0
    for seed in SOUND_CARS:
        yield seed, "", None, 23.0
    for fault, (_, sizes) in bench.TRUTH.items():
        for seed in HELD_OUT_CARS:
            for size in sizes:
                yield seed, fault, size, 23.0


def look_work() -> Iterator[Work]:
    """All looks at bench cars."""
    for look in _looks():
        yield _look_row(*look), lambda look=look: _as_json(*bench.look(*look))


def _car_row(seed: int) -> str:
    return f"cars/{seed}/{_digest(Path(cars.__file__).read_text(encoding='utf-8'))}"


def car_work() -> Iterator[Work]:
    """All estimators on all cars for trials."""
    for seed in TRIAL_CARS:
        yield (
            _car_row(seed),
            lambda seed=seed: [
                [c.estimator, isinstance(c.found, Estimate), bool(cars.held(c))] for c in cars.cases(seed)
            ],
        )


def _as_json(quantities: bench.Quantities, direct: dict[str, bool]) -> object:
    numbers = {
        k: [float(e.value), float(e.u), e.unit, int(e.n), float(e.n_eff), *map(float, e.window_s)]
        for k, e in quantities.items()
        if isinstance(e, Estimate)
    }
    return {"numbers": numbers, "direct": {k: bool(v) for k, v in direct.items()}}


def _from_json(result: Known) -> tuple[bench.Quantities, dict[str, bool]]:
    quantities: bench.Quantities = {
        k: Estimate(v, u, unit, n, n_eff, (begin, end))
        for k, (v, u, unit, n, n_eff, begin, end) in result["numbers"].items()
    }
    return quantities, result["direct"]


def measure(work: Iterator[Work], minutes: float) -> bool:
    """Go on for so long; True when nothing is left."""
    done, end = known(), time.monotonic() + 60.0 * minutes
    for key, make in work:
        if key in done:
            continue
        if time.monotonic() > end:
            return False
        keep(key, make())
        print(key, flush=True)
    return True


# -- tables -----------------------------------------------------------------------------------------------------------


def _between(count: int, n: int) -> str:
    """Share with its two-sided 95 % interval."""
    low, high = trials.lower_bound(count, n, 0.975), trials.upper_bound(count, n, 0.975)
    return f"{100 * count / n:.1f} % ({100 * low:.1f} to {100 * high:.1f})"


def _chunks(row: str, done: Known) -> list[Any]:
    return [done[key] for k in range(CHUNKS) if (key := f"{row}/{k}") in done]


def trial_tables(done: Known) -> str:
    """Coverage and risks by estimator; false PASS by fault."""
    lines = [
        (
            "| estimator | noise | trials | number given | 95 % interval holds the truth | middle u |"
            " false PASS on the limit, upper bound | decided 3.5 u inside |"
        ),
        "| --- | --- | --- | --- | --- | --- | --- | --- |",
    ]
    for kind in trials.KINDS:
        parts = _chunks(_kind_row(kind), done)
        if parts:
            lines.append(_kind_line(kind, parts))
    lines += [
        "",
        "| fault | what is wrong | criterion | trials | false PASS, upper bound | decided |",
        "| --- | --- | --- | --- | --- | --- |",
    ]
    for fault in trials.FAULTS:
        parts = _chunks(_fault_row(fault), done)
        n = CHUNK * len(parts)
        if parts:
            passed, decided = (sum(p[i] for p in parts) for i in (0, 1))
            bound = f"{passed}, {100 * trials.upper_bound(passed, n):.2f} %"
            words = f"{fault.name} | {fault.what} | {fault.criterion.id} | {n}"
            lines.append(f"| {words} | {bound} | {100 * decided / n:.0f} % |")
    return "\n".join(lines)


def _kind_line(kind: trials.Kind, parts: list[Known]) -> str:
    t = {name: sum(p[name] for p in parts) for name in ("trials", "numbers", "held", "false_pass", "decided")}
    u = float(np.median([p["middle_u"] for p in parts]))
    bound = f"{t['false_pass']}, {100 * trials.upper_bound(t['false_pass'], t['numbers']):.2f} %"
    return (
        f"| {kind.name} | {kind.noise} | {t['trials']} | {100 * t['numbers'] / t['trials']:.1f} % |"
        f" {_between(t['held'], t['numbers'])} | {u:.2g} | {bound} | {_between(t['decided'], t['numbers'])} |"
    )


def _ranked(seed: int, fault: str, size: float | None, done: Known) -> Ranking | None:
    now, before = _look_row(seed, fault, size, 23.0), _look_row(seed, "", None, 21.0)
    if now not in done or before not in done:
        return None
    quantities, direct = _from_json(done[now])
    return rank(bench.found(bench.against(_from_json(done[before])[0], quantities)) | direct)


def _place(ranking: Ranking, true: tuple[str, ...]) -> str:
    """Place of the true cause in the list shown; – when it is not there or nothing found speaks for it."""
    first = [i for i, c in enumerate(ranking.causes[:3]) if c.cause in true and c.speaks_for]
    if not first:
        return "–"
    return str(first[0] + 1) if ranking.enough else f"({first[0] + 1})"


def _cars() -> str:
    return f"car{'s' if len(HELD_OUT_CARS) > 1 else ''} {', '.join(map(str, HELD_OUT_CARS))}"


def cause_table(done: Known) -> str:
    """Rank of the true cause on bench cars nobody looked at before, and silence on sound ones."""
    rows: dict[str, list[str]] = {}
    for fault, (true, sizes) in bench.TRUTH.items():
        for seed in HELD_OUT_CARS:
            for size in sizes:
                ranking = _ranked(seed, fault, size, done)
                if ranking is not None:
                    rows.setdefault(fault, []).append(_place(ranking, true))
    sound = [r for seed in SOUND_CARS if (r := _ranked(seed, "", None, done)) is not None]
    lines = list[str]()
    for words, faults in (("Faults held out", bench.HELD_OUT), ("All faults", tuple(bench.TRUTH))):
        places = [p for f in faults for p in rows.get(f, [])]
        said, first = sum(p.isdigit() for p in places), sum(p != "–" for p in places)
        if places:
            lines.append(
                f"{words}, {_cars()}: the true cause is among the first three, with a"
                f" finding that speaks for it, in {first} of {len(places)}, {_between(first, len(places))}; and the"
                f" evidence was called enough in {said} of them."
            )
    silent = sum(not r.enough for r in sound)
    if sound:
        cars = f"{SOUND_CARS[0]} to {SOUND_CARS[-1]}"
        share = f"{silent} of {len(sound)}, {_between(silent, len(sound))}"
        lines.append(f'Sound cars {cars}: "not enough evidence" in {share}.')
    lines += ["", "| fault set in the bench car | held out | place of the true cause, car by car and size by size |"]
    lines += ["| --- | --- | --- |"]
    lines += [f"| {f} | {'yes' if f in bench.HELD_OUT else ''} | {' '.join(p)} |" for f, p in rows.items()]
    return "\n".join(lines)


def car_table(done: Known) -> str:
    """Intervals that hold the truth, by estimator."""
    rows: dict[str, list[tuple[bool, bool]]] = {}
    for seed in TRIAL_CARS:
        for name, number, held in done.get(_car_row(seed), []):
            rows.setdefault(name, []).append((number, held))
    lines = [
        "| estimator on bench cars | cars | numbers given | intervals that hold the truth |",
        "| --- | --- | --- | --- |",
    ]
    for name, cases in rows.items():
        numbers, held = sum(n for n, _ in cases), sum(h for _, h in cases)
        lines.append(f"| {name} | {len(cases)} | {numbers} | {held} of {numbers}, {_between(held, numbers)} |")
    return "\n".join(lines)


def put(part: str, text: str) -> None:
    """Replace one measured part of the page."""
    begin, end = f"<!-- measured: {part} -->", f"<!-- end: {part} -->"
    page = PAGE.read_text(encoding="utf-8")
    head, rest = page.split(begin, 1)
    _, tail = rest.split(end, 1)
    PAGE.write_text(f"{head}{begin}\n{text}\n{end}{tail}", encoding="utf-8")


def main() -> None:
    """See the module's docstring."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("part", choices=("trials", "causes", "cars", "write"))
    parser.add_argument("--minutes", type=float, default=3.5)
    asked = parser.parse_args()
    if asked.part == "write":
        done = known()
        put("trials", trial_tables(done))
        put("cars", car_table(done))
        put("causes", cause_table(done))
        return
    work = {"trials": trial_work, "causes": look_work, "cars": car_work}[asked.part]()
    whole = measure(work, asked.minutes)
    print("all measured" if whole else "not all measured yet: run it again")


if __name__ == "__main__":
    main()
