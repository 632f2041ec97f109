"""Grades as data, the verdict on each attribute, and the decision rules behind it."""

from fractionkit.grades.file import load_grades
from fractionkit.grades.judge import chosen, judge_lot
from fractionkit.grades.model import Grade, Limit
from fractionkit.grades.sample import Sample

__all__ = ["Grade", "Limit", "Sample", "chosen", "judge_lot", "load_grades"]
