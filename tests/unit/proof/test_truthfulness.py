"""Truthfulness, measured: coverage, risks and false PASS, with trials that share nothing with the estimators.

500 trials each here, 10,000 in the full run; the table in docs/proof.md is made by scripts/measure_proof.py.
"""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path
from types import ModuleType

import pytest

SCRIPTS = Path(__file__).resolve().parents[3] / "scripts"


def load(name: str) -> ModuleType:
    """A script as a module."""
    if name in sys.modules:
        return sys.modules[name]
    spec = importlib.util.spec_from_file_location(name, SCRIPTS / f"{name}.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[name] = module
    spec.loader.exec_module(module)
    return module


trials = load("proof_trials")
KINDS = [pytest.param(k, id=f"{k.name}: {k.noise}") for k in trials.KINDS]
FAULTS = [pytest.param(f, id=f"{f.name}: {f.what}") for f in trials.FAULTS if f.seen]


def believe(kind, n: int) -> None:
    """Coverage not provably below 95 %; risk provably below 5 % at the limit; decided where it is clear."""
    t = trials.tried(kind, n)
    assert t.numbers >= 0.95 * n
    assert trials.upper_bound(t.held, t.numbers) >= 0.95
    assert trials.upper_bound(t.false_pass, t.numbers) < 0.05
    assert t.decided >= 0.9 * t.numbers


@pytest.mark.parametrize("kind", KINDS)
def test_coverage_and_risk(kind) -> None:
    believe(kind, 500)


@pytest.mark.parametrize("fault", FAULTS)
def test_faults_the_model_does_not_know_get_no_false_pass(fault) -> None:
    passed, _ = trials.false_passes(fault.criterion, fault.make, 500)
    assert passed <= 2


@pytest.mark.parametrize("fault", [f for f in trials.FAULTS if not f.seen], ids=lambda f: f.what)
def test_a_lie_that_is_consistent_on_one_channel_is_not_seen_and_the_page_says_so(fault) -> None:
    """If this fails, an estimator sees more than docs/proof.md says: change the words there."""
    passed, _ = trials.false_passes(fault.criterion, fault.make, 100)
    assert passed > 50
    page = (SCRIPTS.parent / "docs" / "proof.md").read_text(encoding="utf-8")
    assert f"| {fault.name} | {fault.what} |" in page
    assert "It takes an independent channel" in page


@pytest.mark.full
@pytest.mark.timeout(1800)
@pytest.mark.parametrize("kind", KINDS)
def test_coverage_and_risk_in_full(kind) -> None:
    believe(kind, 10_000)


@pytest.mark.full
@pytest.mark.timeout(1800)
@pytest.mark.parametrize("fault", FAULTS)
def test_faults_in_full(fault) -> None:
    """Rate and bound: at most 2 of 500 as a rate, with its upper bound below 1 %."""
    passed, _ = trials.false_passes(fault.criterion, fault.make, 10_000)
    assert passed <= 40
    assert trials.upper_bound(passed, 10_000) < 0.01


@pytest.mark.full
@pytest.mark.timeout(3600)
def test_causes_on_held_out_bench_faults() -> None:
    """Half of the faults, fixed by name, on a car nobody looked at while the tables were written; sound cars beside."""
    from asleft.proof.causes import rank

    bench = load("proof_bench")
    before, _ = bench.look(51)
    hits = total = 0
    for fault in bench.HELD_OUT:
        true, sizes = bench.TRUTH[fault]
        for size in sizes:
            ranking = rank(bench.evidence_of(51, fault, size, before))
            hits += any(c.cause in true and c.speaks_for for c in ranking.causes[:3])
            total += 1
    assert total >= 20
    assert hits >= 0.8 * total
    sound = [not rank(bench.evidence_of(seed, "", None, bench.look(seed)[0])).enough for seed in range(61, 66)]
    assert sum(sound) >= 0.8 * len(sound)


def test_bounds_by_hand() -> None:
    """No PASS in n trials: the upper bound solves (1 - p)^n = 0.05."""
    assert trials.upper_bound(0, 500) == pytest.approx(1 - 0.05 ** (1 / 500))
    assert trials.lower_bound(500, 500) == pytest.approx(0.05 ** (1 / 500))
    assert trials.upper_bound(5, 5) == 1.0


def test_the_noise_is_what_it_says() -> None:
    import numpy as np

    x = trials.shaped(np.random.default_rng(1), 400, 400, 0.2, 0.4, 0.3)
    assert float(x.var()) == pytest.approx(1.0, abs=0.05)
    assert abs(float(x.mean())) < 0.05
