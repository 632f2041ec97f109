"""Tables of boiling and dew points against the mixture solved point by point and anew with other constants."""

import numpy as np
import pytest

from fractionkit.inference.nodes import fractions_from_cells
from fractionkit.inference.predict import bubble_table, dew_table
from fractionkit.mixture import Mixture
from fractionkit.mixture.tables import activity_pairs

PRESSURE = 97_500.0
MIXTURES = [
    ("chloroform", "carbon tetrachloride"),
    ("chloroform", "ethanol"),
    ("dichloromethane", "water"),  # splits: kinks
    ("1,1,1-trichloroethane", "trichloroethylene", "tetrachloroethylene"),
    ("chloroform", "1,2-dichloroethane", "tetrachloroethylene"),
]


def of_one_pair(mixture):
    """(p,) errors of activity as large as a pair's alone, in units of what they are where those of several pairs go together."""
    pairs = activity_pairs()
    sizes = np.ones(len(mixture.model_errors))
    for k, error in enumerate(mixture.model_errors):
        if error.kind.startswith("activity") and error.u > 0.0:
            pair = pairs[tuple(mixture.names[i] for i in error.components)]
            sizes[k] = (pair.u if error.kind == "activity" else pair.u_asymmetry) / error.u
    return sizes


def solved(mixture, kind, w):
    x = mixture.mole_fractions(w)
    return (mixture.dew_point if kind is dew_table else mixture.bubble_point)(x, PRESSURE)[0]


@pytest.mark.parametrize("names", MIXTURES)
@pytest.mark.parametrize("kind", [dew_table, bubble_table])
def test_temperature_and_its_changes(names, kind):
    """Interpolated once in the table and, for that, once through Chebyshev's points: 0.01 K; nearer to a kink 0.1 K."""
    mixture = Mixture(names)
    table = kind(mixture, PRESSURE)
    coordinates = np.random.default_rng(1).uniform(0.0, 1.0, (60, len(names) - 1))
    w = fractions_from_cells(coordinates)
    found, truth = table.at(coordinates), solved(mixture, kind, w)
    np.testing.assert_allclose(found.temperature, truth, atol=0.1 if "water" in names else 0.01)
    bends = dict(zip(table.bending.tolist(), found.bent.T, strict=True))
    for place, error in enumerate(table.errors.tolist()):
        size = of_one_pair(mixture)[error]
        step = size * np.eye(len(mixture.model_errors))[error]
        up, down = (solved(mixture.perturbed(move), kind, w) for move in (step, -step))
        if "water" not in names:
            np.testing.assert_allclose(size * found.moved[:, place], 0.5 * (up - down), atol=0.02)
        bend = size**2 * bends.get(error, 0.0)
        if "water" not in names:
            np.testing.assert_allclose(bend, 0.5 * (up + down) - truth, atol=0.035)


def test_errors_that_bend_are_those_that_do():
    """Named by solving the mixture with each activity error at 1.5 standard deviations either side, on a line of 400 points."""
    mixture = Mixture(["1,1,1-trichloroethane", "trichloroethylene"])
    w = np.linspace(0.0, 1.0, 400)
    w = np.stack([w, 1.0 - w], axis=-1)
    bending = []
    for i, error in enumerate(mixture.model_errors):
        if error.kind in ("activity", "activity_asymmetry"):
            step = 1.5 * np.eye(len(mixture.model_errors))[i]
            up, middle, down = (solved(mixture.perturbed(move), dew_table, w) for move in (step, 0.0 * step, -step))
            if np.abs(up + down - 2.0 * middle).max() / 4.5 > 0.03:
                bending.append(i)
    assert dew_table(mixture, PRESSURE).bending.tolist() == bending
    assert len(bending) == 1
