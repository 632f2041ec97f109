"""Grades as data, the verdict on each attribute, and the decision rules behind it."""

from fractionkit.grades.conformity import conformance, decide, normal_below
from fractionkit.grades.e29 import inside_rounded, round_to
from fractionkit.grades.file import built_in, load_grades
from fractionkit.grades.judge import all_grades, chosen, judge, judge_lot, known
from fractionkit.grades.model import AttributeVerdict, Finding, Grade, GradeVerdict, Limit, Result, Rule
from fractionkit.grades.sample import Entered, Sample, entered_result

__all__ = [
    "AttributeVerdict",
    "Entered",
    "Finding",
    "Grade",
    "GradeVerdict",
    "Limit",
    "Result",
    "Rule",
    "Sample",
    "all_grades",
    "built_in",
    "chosen",
    "conformance",
    "decide",
    "entered_result",
    "inside_rounded",
    "judge",
    "judge_lot",
    "known",
    "load_grades",
    "normal_below",
    "round_to",
]
