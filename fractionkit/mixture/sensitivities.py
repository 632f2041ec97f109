"""Change of every prediction for one standard uncertainty of each constant and model error, in closed form."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, get_args

import numpy as np

from fractionkit.mixture.arrays import Array, pairs
from fractionkit.mixture.bubble import ln_k
from fractionkit.mixture.constants import Constants

Kind = Literal[
    "vapour_pressure", "activity", "activity_asymmetry", "density", "excess_volume", "refractive_index", "refraction_rule"
]  # fmt: skip
KINDS: tuple[Kind, ...] = get_args(Kind)
"""In the order of the last axis of every ``*_errors`` array."""


@dataclass(frozen=True)
class ModelError:
    """One error shared by all predictions of a mixture.

    kind : what is in error; ``components`` the one or two it belongs to (all, of the mixing rule of refractive indices);
    ``u`` its standard uncertainty (ln p: 1, Margules amplitudes: 1, density: kg/m3 at the reference temperature, excess
    volume: m3/mol, refractive index: 1, mixing rule: half the distance of two rules, see `Refraction`).
    """

    kind: Kind
    components: tuple[int, ...]
    u: float
    name: str


def model_errors(constants: Constants, names: tuple[str, ...]) -> tuple[ModelError, ...]:
    """List the errors in the order of the last axis of every ``*_errors`` array."""
    n = len(names)
    index = pairs(n)
    u = constants.refraction.u
    vapour, density = constants.vapour.u_ln, constants.volume.u
    return (
        *(ModelError("vapour_pressure", (i,), float(vapour[i]), f"vapour pressure of {names[i]}") for i in range(n)),
        *(
            ModelError("activity", p, float(constants.activity.u[p]), f"activity of {names[p[0]]} + {names[p[1]]}")
            for p in index
        ),
        *(
            ModelError(
                "activity_asymmetry", p, float(constants.activity.u_skew[p]),
                f"activity asymmetry of {names[p[0]]} + {names[p[1]]}",
            )
            for p in index
        ),
        *(ModelError("density", (i,), float(density[i]), f"density of {names[i]}") for i in range(n)),
        *(
            ModelError(
                "excess_volume", p, float(constants.volume.u_excess[p]),
                f"excess volume of {names[p[0]]} + {names[p[1]]}",
            )
            for p in index
        ),
        *(
            ModelError("refractive_index", (i,), float(np.nan_to_num(u[i])), f"refractive index of {names[i]}")
            for i in range(n)
        ),
        ModelError("refraction_rule", tuple(range(n)), 1.0, "mixing rule of refractive indices"),
    )  # fmt: skip


def blocks(n: int) -> dict[Kind, slice]:
    """Where each kind of error stands along the last axis."""
    m = n * (n - 1) // 2
    ends = np.cumsum([0, n, m, m, n, m, n, 1])
    return {kind: slice(int(ends[k]), int(ends[k + 1])) for k, kind in enumerate(KINDS)}


def perturbed(constants: Constants, theta: Array) -> Constants:
    """Return the constants shifted by ``theta`` (p,) standard uncertainties of the model errors."""
    n = constants.molar_mass.size
    part = {kind: theta[where] for kind, where in blocks(n).items()}
    return Constants(
        molar_mass=constants.molar_mass,
        vapour=constants.vapour.perturbed(part["vapour_pressure"]),
        activity=constants.activity.perturbed(
            _symmetric(part["activity"], n), np.triu(skew := _symmetric(part["activity_asymmetry"], n)) - np.tril(skew)
        ),
        volume=constants.volume.perturbed(part["density"], _symmetric(part["excess_volume"], n)),
        refraction=constants.refraction.perturbed(part["refractive_index"], float(part["refraction_rule"][0])),
    )


def _symmetric(values: Array, n: int) -> Array:
    matrix = np.zeros((n, n))
    for value, (i, j) in zip(values, pairs(n), strict=True):
        matrix[i, j] = matrix[j, i] = value
    return matrix


def temperature_slope(constants: Constants, weights: Array, x: Array, T: Array) -> Array:
    """Return sum_i weights_i d ln(gamma_i p_i)/dT (...), 1/K; its inverse is dT/dlnP of a bubble or dew point."""
    _, slope = ln_k(constants.vapour, constants.activity, x, T)
    return np.asarray((weights * slope).sum(axis=-1), dtype=np.float64)


def temperature_errors(constants: Constants, weights: Array, x: Array, T: Array) -> Array:
    """Change of a boiling temperature (..., p) per standard uncertainty; ``weights`` y (bubble) or x (dew).

    At a fixed liquid sum_i y_i d(ln gamma_i p_i) = 0, at a fixed vapour sum_i x_i d(ln gamma_i p_i) = 0 (the change of
    the liquid drops out by Gibbs-Duhem), so dT = -sum_i weights_i d_i / sum_i weights_i s_i with d_i the error of
    ln(gamma_i p_i) at x and s_i its slope in T.
    """
    n = x.shape[-1]
    shape = np.broadcast_shapes(weights.shape[:-1], x.shape[:-1], T.shape)
    slope = temperature_slope(constants, weights, x, T)[..., None]
    errors = np.zeros((*shape, model_error_count(n)))
    where = blocks(n)
    errors[..., where["vapour_pressure"]] = -weights * constants.vapour.u(T) / slope
    index = pairs(n)
    i, j = [p[0] for p in index], [p[1] for p in index]
    # one Margules amplitude A_ij: ln gamma_k += A x_j [k = i] + A x_i [k = j] - A x_i x_j
    change = weights[..., i] * x[..., j] + weights[..., j] * x[..., i] - x[..., i] * x[..., j]
    errors[..., where["activity"]] = -change * constants.activity.u[i, j] / slope
    # one antisymmetric amplitude B_ij, t = x_i x_j (x_i - x_j): ln gamma_k += B dt/dx_k - 2 B t
    change = weights[..., i] * (2.0 * x[..., i] - x[..., j]) * x[..., j]
    change = change + weights[..., j] * (x[..., i] - 2.0 * x[..., j]) * x[..., i]
    change = change - 2.0 * x[..., i] * x[..., j] * (x[..., i] - x[..., j])
    errors[..., where["activity_asymmetry"]] = -change * constants.activity.u_skew[i, j] / slope
    return errors


def model_error_count(n: int) -> int:
    """Number p of model errors of n components."""
    return 3 * n + 3 * n * (n - 1) // 2 + 1
