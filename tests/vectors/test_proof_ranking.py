"""The ranking's arithmetic against scikit-learn's naive Bayes for two-valued features.

Source: scikit-learn, BernoulliNB (BSD-3); only the tables are ours.
"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from asleft.proof.cause_data import CAUSES, NONE_SHARE
from asleft.proof.causes import posterior
from asleft.proof.finding_data import FINDINGS

naive_bayes = pytest.importorskip("sklearn.naive_bayes")

NAMES = sorted(FINDINGS)


def outside(known: list[str]) -> object:
    """A fitted model that holds our tables for the findings that are known; those not known are left out of it."""
    rows = [{f: max(c.shows.get(f, FINDINGS[f].usual), FINDINGS[f].usual) for f in known} for c in CAUSES]
    rows.append({f: FINDINGS[f].usual for f in known})
    shares = np.array([c.weight for c in CAUSES]) / sum(c.weight for c in CAUSES) * (1.0 - NONE_SHARE)
    model = naive_bayes.BernoulliNB(binarize=None)
    model.classes_ = np.arange(len(rows))
    model.class_log_prior_ = np.log(np.append(shares, NONE_SHARE))
    model.feature_log_prob_ = np.log(np.array([[row[f] for f in known] for row in rows]))
    model.n_features_in_ = len(known)
    return model


@settings(max_examples=60, deadline=None)
@given(st.dictionaries(st.sampled_from(NAMES), st.booleans(), min_size=1))
def test_probabilities_are_those_of_naive_bayes(evidence: dict[str, bool]) -> None:
    known = sorted(evidence)
    expected = outside(known).predict_proba(np.array([[float(evidence[f]) for f in known]]))[0]
    causes, none = posterior(evidence, CAUSES, FINDINGS)
    assert np.array([*causes, none]) == pytest.approx(expected, rel=1e-9, abs=1e-15)
