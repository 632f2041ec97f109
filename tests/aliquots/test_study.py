"""A light part of the study of aliquots (tests/aliquots/study.py; its report stands beside it)."""

from __future__ import annotations

import pytest

from tests.aliquots import study


@pytest.fixture(scope="module")
def found():
    return study.study(60, 5)


def test_stated_error_rates_are_not_exceeded_by_more_than_chance(found):
    # 60 series, 12 of them at the tolerance, 12 plateaus; a true 2.5 % shows three or more of 60 in 19 of 100, five or more in
    # 2; a true 5 % three or more of 12 in 2 of 100 (binomial distribution)
    assert sum(one.early for one in found) <= 4
    assert sum(one.ever_moving for one in found if one.made.course == "level") <= 2
    plateaus = [one for one in found if one.made.course == "level" and one.able]
    assert len(plateaus) > 6
    assert sum(one.verdict != "levelled off" for one in plateaus) <= 2


def test_bands_and_intervals_hold_the_truth(found):
    assert study.rate(found, 5)[0] > 0.9
    assert study.rate(found, 6)[0] > 0.9
    # 36 approaches with 95 % intervals: fewer than 31 hold in 8 of 1,000
    fitted = [one for one in found if one.constant is not None]
    assert len(fitted) == 36
    assert sum(bool(one.constant) for one in fitted) >= 31
    assert sum(bool(one.level_time) for one in fitted) >= 31


def test_the_report_is_written(found):
    text = study.report(found)
    assert "called level while it still moves" in text
    assert "nan" not in text
