"""Estimators as pure functions: each returns an `Estimate` or raises `CannotEstimate` with the reason."""
