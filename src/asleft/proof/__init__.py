"""Conditions over time, estimators with uncertainty, decision rules. Pure."""
