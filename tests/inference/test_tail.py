"""Tail of the chi-square distribution, against scipy."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import chi2

from fractionkit.inference.tail import chi_square_tail


@given(st.integers(1, 300), st.floats(0.0, 2000.0))
def test_tail(freedom, value):
    assert chi_square_tail(freedom, value) == pytest.approx(chi2.sf(value, freedom), rel=1e-9, abs=1e-13)
