"""Proof of the estimator on simulated runs whose truth comes from other constants and another model of the liquid."""
