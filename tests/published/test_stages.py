"""Stages at total reflux against printed worked examples."""

import numpy as np
import pytest

from fractionkit.stages import total_reflux_stages
from fractionkit.still import TabulatedVolatility

# Benzene + toluene at 101.32 kPa, mole fractions of benzene: Geankoplis, Transport Processes and Unit Operations, table
# 11.1-1 (from memory).
BENZENE_TOLUENE = TabulatedVolatility([0.130, 0.258, 0.411, 0.581, 0.780], [0.261, 0.456, 0.632, 0.777, 0.900])


@pytest.mark.parametrize(
    ("pot", "head", "printed"),
    [
        # Geankoplis, example 11.4-2: distillate 0.95, bottoms 0.10: 5.8 theoretical steps at total reflux (from memory)
        (0.10, 0.95, 5.8),
        # a textbook problem read in a copy (30 mol% benzene, distillate 95, bottoms 4 mol%): 6.7 stages at total reflux
        (0.04, 0.95, 6.7),
    ],
)
def test_steps_at_total_reflux(pot, head, printed):
    found = total_reflux_stages(
        BENZENE_TOLUENE, np.array([pot, 1.0 - pot]), np.array([head, 1.0 - head]), 101325.0, 0, 1
    )
    # both were stepped off in a drawing: a fifth of a step, and each book has its own table
    assert found == pytest.approx(printed, abs=0.2)
