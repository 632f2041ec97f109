"""Materials put together: rows of one origin stay together, few rows stand for all."""

from __future__ import annotations

import numpy as np
import pytest

from fractionkit.lots import Material, together

NAMES = ("chloroform", "dichloromethane")


def material(name: str, target: np.ndarray, origin: str, components: tuple[str, ...] = NAMES) -> Material:
    return Material(name, components, 0.1, 1e-4, np.column_stack([target, 1.0 - target]), origin)


@pytest.mark.parametrize("count", [50, 200, 1000, 1100])
def test_few_rows_stand_for_draws_in_any_order(count):
    rising = np.linspace(0.2, 0.6, 1000)
    joint = together((material("A", rising, "run"),), NAMES, count)
    assert joint.shape == (count, 1, 2)
    assert joint[:, 0, 0].mean() == pytest.approx(rising.mean(), abs=0.005 if count <= 1000 else 0.02)


def test_rows_of_one_origin_stay_together_and_origins_do_not():
    first, second = np.linspace(0.2, 0.6, 500), np.linspace(0.1, 0.3, 500)
    joint = together(
        (material("A", first, "one"), material("B", second, "one"), material("C", first, "two")), NAMES, 300
    )
    assert np.corrcoef(joint[:, 0, 0], joint[:, 1, 0])[0, 1] == pytest.approx(1.0)
    assert abs(np.corrcoef(joint[:, 0, 0], joint[:, 2, 0])[0, 1]) < 0.2


def test_components_are_laid_over_a_longer_list_and_none_is_lost():
    made = material("A", np.array([0.25]), "run", ("dichloromethane", "chloroform"))
    np.testing.assert_allclose(made.over(("chloroform", "ethanol", "dichloromethane")), [[0.75, 0.0, 0.25]])
    with pytest.raises(ValueError, match="chloroform"):
        made.over(("dichloromethane",))
