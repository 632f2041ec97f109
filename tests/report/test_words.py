"""Sentences that the report and the terminal share."""

from dataclasses import replace

import pytest

from fractionkit.report.words import agreement
from tests.report.sample import sample


@pytest.mark.parametrize(
    ("chance", "word"),
    [
        (0.9, "agree with one another"),
        (0.03, "fit poorly, look at them again"),
        (0.005, "are hard to reconcile"),
        (1e-5, "are at odds"),
        (float("nan"), "could not be judged"),
    ],
)
def test_readings_are_said_to_agree_only_where_they_do(chance, word):
    assert word in agreement(replace(sample(), consistency=chance))
