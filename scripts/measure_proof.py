"""Measure how far the proofs can be believed and write the tables into docs/proof.md.

    .venv/bin/python scripts/measure_proof.py trials --trials 10000     # coverage, risks, faults (about 30 minutes)
    .venv/bin/python scripts/measure_proof.py causes --seeds 11 12 13   # bench cars (about 6 minutes a seed)

Each run replaces its own part between the markers; the words round it are written by hand. Bounds are one-sided 95 %
Clopper-Pearson bounds, intervals two-sided.
"""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from pathlib import Path

import proof_bench as bench
import proof_trials as trials

from asleft.proof.causes import rank

PAGE = Path(__file__).resolve().parents[1] / "docs" / "proof.md"


def _between(count: int, n: int) -> str:
    """Share with its two-sided 95 % interval."""
    low, high = trials.lower_bound(count, n, 0.975), trials.upper_bound(count, n, 0.975)
    return f"{100 * count / n:.1f} % ({100 * low:.1f} to {100 * high:.1f})"


def trial_tables(n: int) -> str:
    """Coverage and risks by estimator; false PASS by fault."""
    lines = [
        f"{n} trials each.",
        "",
        (
            "| estimator | noise | number given | 95 % interval holds the truth | middle u |"
            " false PASS on the limit, upper bound | decided 3.5 u inside |"
        ),
        "| --- | --- | --- | --- | --- | --- | --- |",
    ]
    for kind in trials.KINDS:
        t = trials.tried(kind, n)
        print(kind.name, t, flush=True)
        bound = f"{t.false_pass} of {t.numbers}, {100 * trials.upper_bound(t.false_pass, t.numbers):.2f} %"
        lines.append(
            f"| {kind.name} | {kind.noise} | {100 * t.numbers / n:.1f} % | {_between(t.held, t.numbers)} |"
            f" {t.middle_u:.2g} | {bound} | {_between(t.decided, t.numbers)} |"
        )
    lines += [
        "",
        "| fault | what is wrong | criterion | false PASS, upper bound | decided |",
        "| --- | --- | --- | --- | --- |",
    ]
    for name, what, criterion, maker in trials.FAULTS:
        passed, decided = trials.false_passes(criterion, maker, n)
        bound = f"{passed} of {n}, {100 * trials.upper_bound(passed, n):.2f} %"
        lines.append(f"| {name} | {what} | {criterion.id} | {bound} | {100 * decided / n:.0f} % |")
    return "\n".join(lines)


def cause_table(seeds: Sequence[int], controls: Sequence[int]) -> str:
    """Rank of the true cause on bench cars, and silence on sound ones."""
    rows: dict[str, list[str]] = {}
    hits = total = 0
    for seed in seeds:
        before, _ = bench.look(seed)
        for fault, (true, sizes) in bench.TRUTH.items():
            for size in sizes:
                ranking = rank(bench.evidence_of(seed, fault, size, before))
                first = [c for c in ranking.causes[:3] if c.cause in true and c.speaks_for]
                place = str(ranking.causes.index(first[0]) + 1) if first else "–"
                rows.setdefault(fault, []).append(place)
                hits, total = hits + bool(first), total + 1
                print(seed, fault, size, place, flush=True)
    silent = 0
    for seed in controls:
        before, _ = bench.look(seed)
        silent += not rank(bench.evidence_of(seed, "", None, before)).enough
    lines = [
        (
            f"Bench cars {', '.join(map(str, seeds))}: the true cause is among the first three, with a finding that"
            f" speaks for it, in {hits} of {total}, {_between(hits, total)}."
        ),
        (
            f'Sound cars {", ".join(map(str, controls))}: "not enough evidence" in {silent} of {len(controls)},'
            f" {_between(silent, len(controls))}."
        ),
        "",
        "| fault set in the bench car | place of the true cause, car by car and size by size |",
        "| --- | --- |",
        *(f"| {fault} | {' '.join(places)} |" for fault, places in rows.items()),
    ]
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
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("part", choices=("trials", "causes"))
    parser.add_argument("--trials", type=int, default=10_000)
    parser.add_argument("--seeds", type=int, nargs="+", default=[11, 12, 13])
    parser.add_argument("--controls", type=int, nargs="+", default=list(range(21, 31)))
    asked = parser.parse_args()
    put(asked.part, trial_tables(asked.trials) if asked.part == "trials" else cause_table(asked.seeds, asked.controls))


if __name__ == "__main__":
    main()
