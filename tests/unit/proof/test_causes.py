"""Why it failed: arithmetic by enumeration, what is said, and silence where the evidence does not carry it."""

from __future__ import annotations

import itertools
import math

import pytest

from asleft.model.message import say
from asleft.model.verdict import Reason
from asleft.proof.cause_codes import from_codes, refused
from asleft.proof.cause_data import CAUSES, NONE_SHARE, Cause
from asleft.proof.causes import found, posterior, rank
from asleft.proof.estimate import Estimate, NoEstimate
from asleft.proof.finding_data import FINDINGS, THRESHOLDS, Finding

FEW = {f: Finding(f, f, usual, f"look at {f}") for f, usual in {"a": 0.05, "b": 0.1, "c": 0.2}.items()}
TWO = (Cause("x", "cause x", 3.0, {"a": 0.9, "b": 0.65}), Cause("y", "cause y", 1.0, {"b": 0.9, "c": 0.65}))


def joint(world: str, seen: dict[str, bool]) -> float:
    """Probability of a world and of what is seen in it, written out."""
    prior = {"x": 0.5 * 3 / 4, "y": 0.5 * 1 / 4, "none": 0.5}[world]
    shows = {
        "x": {"a": 0.9, "b": 0.65, "c": 0.2},
        "y": {"a": 0.05, "b": 0.9, "c": 0.65},
        "none": {"a": 0.05, "b": 0.1, "c": 0.2},
    }
    for finding, there in seen.items():
        p = shows[world][finding]
        prior *= p if there else 1 - p
    return prior


@pytest.mark.parametrize("seen", [dict(zip("abc", v, strict=True)) for v in itertools.product([True, False], repeat=3)])
def test_bayes_by_enumeration(seen: dict[str, bool]) -> None:
    assert NONE_SHARE == 0.5
    whole = sum(joint(w, seen) for w in ("x", "y", "none"))
    (x, y), none = posterior(seen, TWO, FEW)
    assert (x, y, none) == pytest.approx([joint(w, seen) / whole for w in ("x", "y", "none")])


def test_what_is_not_known_is_summed_out() -> None:
    both = [posterior({"a": True, "b": b}, TWO, FEW) for b in (True, False)]
    weights = [sum(joint(w, {"a": True, "b": b}) for w in ("x", "y", "none")) for b in (True, False)]
    averaged = sum(p[0][0] * w for p, w in zip(both, weights, strict=True)) / sum(weights)
    assert posterior({"a": True}, TWO, FEW)[0][0] == pytest.approx(averaged)


class TestRanking:
    def test_an_air_leak(self) -> None:
        r = rank({"lean": True, "meter-low": True, "opening-small": True, "purge-flows": False})
        assert r.enough
        assert r.causes[0].cause == "air-leak"
        assert "fuel trims add fuel at idle" in r.causes[0].speaks_for
        assert r.message.text.startswith("most likely air leaks in behind the meter")

    def test_evidence_against_is_said(self) -> None:
        r = rank({"lean": True, "meter-low": False, "code-lean": True})
        leak = next(c for c in r.causes if c.cause == "air-leak")
        assert any(words.startswith("not seen: the air meter shows less") for words in leak.speaks_against)
        assert r.causes[0].cause == "fuel-short"

    @pytest.mark.parametrize(
        "evidence", [{}, dict.fromkeys(FINDINGS, False), {"idle-low": True}, {"no-such-finding": True}]
    )
    def test_silence_where_there_is_nothing(self, evidence: dict[str, bool]) -> None:
        r = rank(evidence)
        assert not r.enough
        assert r.message.text == "not enough evidence for any cause"

    def test_what_to_measure_next_tells_the_first_ones_apart(self) -> None:
        r = rank({"lean": True, "code-lean": True})
        assert r.next is not None
        assert "air flow and pressure" in r.next.text

    def test_nothing_more_to_look_at(self) -> None:
        assert rank(dict.fromkeys(FINDINGS, False)).next is None

    @pytest.mark.parametrize("cause", CAUSES, ids=lambda c: c.id)
    def test_every_cause_is_among_the_first_three_when_it_shows_as_it_does(self, cause: Cause) -> None:
        shown = {f: p >= 0.5 for f, p in cause.shows.items()}
        others = {f: False for f in FINDINGS if f not in cause.shows}
        assert cause.id in {c.cause for c in rank({**others, **shown}).causes[:3]}


class TestFindings:
    def known(self, value: float, u: float) -> Estimate:
        return Estimate(value, u, "%", 50, 20.0, (0, 60))

    @pytest.mark.parametrize(("value", "there"), [(12.0, True), (8.5, None), (2.0, False)])
    def test_only_where_the_whole_uncertainty_says_so(self, value: float, there: bool | None) -> None:
        assert found({"trim-sum": self.known(value, 1.0)}).get("lean") is there

    def test_no_number_no_finding(self) -> None:
        none = NoEstimate((Reason.TOO_FEW,), say("x", "too few"))
        assert found({"trim-sum": none, "idle-spread": self.known(math.nan, 1.0)}) == {}

    def test_refusals_and_codes(self) -> None:
        assert refused(0x93) == {"refused-supply": True}
        assert refused(0x99) == {}
        seen = from_codes(["P0301", "P2176"])
        assert seen["code-misfire"]
        assert seen["code-not-learned"]
        assert seen["code-lean"] is False
        assert from_codes([], read=False) == {}


class TestTables:
    def test_every_finding_named_is_known(self) -> None:
        assert {f for c in CAUSES for f in c.shows} <= set(FINDINGS)
        assert {t.finding for t in THRESHOLDS} <= set(FINDINGS)

    def test_probabilities_are_probabilities(self) -> None:
        assert all(0 < p < 1 for c in CAUSES for p in c.shows.values())
        assert all(0 < f.usual < 0.5 for f in FINDINGS.values())
        assert all(c.weight > 0 for c in CAUSES)
        assert len({c.id for c in CAUSES}) == len(CAUSES)
