"""Blends of fitted mixtures against the mixtures themselves."""

from __future__ import annotations

import numpy as np
import pytest

from fractionkit.mixture import Mixture
from fractionkit.mixture.tables import activity_pairs
from fractionkit.still import FittedVolatility

PRESSURE, STEP = 98600.0, 300.0


@pytest.mark.parametrize(
    "names, off_y, off_T",
    [
        (["trichloroethylene", "tetrachloroethylene"], 1e-3, 0.05),
        (["chloroform", "trichloroethylene", "tetrachloroethylene"], 5e-3, 0.4),
    ],
)
def test_a_blend_is_the_mixture_with_its_constants_shifted(names, off_y, off_T):
    """A standard uncertainty of every constant, of the activity of each pair alone, and of the pressure at once; they move T by
    1 to 3 K."""
    mixture = Mixture(names)
    rng = np.random.default_rng(0)
    size = np.ones(len(mixture.model_errors))
    for k, error in enumerate(mixture.model_errors):
        if error.kind in ("activity", "activity_asymmetry"):
            pair = activity_pairs()[tuple(mixture.names[i] for i in error.components)]
            size[k] = (pair.u if error.kind == "activity" else pair.u_asymmetry) / error.u
    active = [k for k, error in enumerate(mixture.model_errors) if error.kind.startswith(("vapour", "activity"))]
    members = [mixture, *(mixture.perturbed(size * np.eye(len(size))[k]) for k in active), mixture]
    pressures = np.full(len(members), PRESSURE)
    pressures[-1] += STEP
    fitted = FittedVolatility(members, pressures, goal=1e-3)
    theta, z = rng.standard_normal((6, len(mixture.model_errors))), rng.standard_normal(6)
    weights = np.column_stack([1.0 - theta[:, active].sum(axis=1) - z, theta[:, active], z])
    x = rng.dirichlet(np.ones(len(names)), 200)
    T, y = fitted.blended(weights, PRESSURE).bubble_point(np.repeat(x[:, None], 6, axis=1), PRESSURE)
    for s in range(6):
        true_T, true_y = mixture.perturbed(size * theta[s]).bubble_point(x, PRESSURE + STEP * z[s])
        assert np.abs(y[:, s] - true_y).max() < off_y
        assert np.abs(T[:, s] - true_T).max() < off_T
