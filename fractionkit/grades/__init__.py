"""Grades as data, the verdict on each attribute, and the decision rules behind it."""
