"""Activity coefficients: multi-component NRTL plus a symmetric Margules term for the model's own error."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from fractionkit.mixture.arrays import Array

TAU_T_MIN = 230.0
TAU_T_MAX = 480.0
"""K. tau = a + b/T is evaluated at T clipped to this span: it was fitted within 280-400 K, and b/T must not run away
when a bracketing search passes through absurd temperatures. Outside the span d ln gamma/dT is zero."""


@dataclass(frozen=True)
class Evaluation:
    """ln gamma and its derivatives at one set of points.

    ln_gamma : (..., n);  dT : (..., n) d ln gamma/dT, 1/K;  dx : (..., n, n) N d ln gamma_i/d n_j, or None.
    """

    ln_gamma: Array
    dT: Array
    dx: Array | None


@dataclass(frozen=True)
class Activity:
    """Parameters of the NRTL equation (Renon and Prausnitz, AIChE J. 14 (1968) 135-144).

    tau_ij = a_ij + b_ij/T,  G_ij = exp(-alpha_ij tau_ij), and an error of the model as a symmetric one-parameter
    Margules term, g^E/RT = 1/2 sum_ij A_ij x_i x_j, so that A_ij is the change of ln gamma at infinite dilution.

    a, b : (n, n), diagonal zero;  alpha, margules, u : (n, n), symmetric, diagonal zero.  b in K, u the standard
    uncertainty of the Margules amplitude.
    """

    a: Array
    b: Array
    alpha: Array
    margules: Array
    u: Array

    @property
    def ideal(self) -> bool:
        """Whether every ln gamma is zero (Raoult's law)."""
        return not (self.a.any() or self.b.any() or self.margules.any())

    def evaluate(self, x: Array, T: Array, *, jacobian: bool = False) -> Evaluation:
        """Return ln gamma and its derivatives at mole fractions ``x`` (..., n) and ``T`` (...) in K.

        ``dx`` is symmetric and sum_i x_i dx_ij = 0 (Gibbs-Duhem), because the equation is homogeneous of degree
        zero in the amounts.
        """
        if self.ideal:
            zero = np.zeros(np.broadcast_shapes(x.shape, (*np.shape(T), 1)))
            return Evaluation(zero, zero, np.zeros((*zero.shape, zero.shape[-1])) if jacobian else None)
        t = np.clip(T, TAU_T_MIN, TAU_T_MAX)[..., None, None]
        tau = self.a + self.b / t
        dtau = np.where((t == np.asarray(T)[..., None, None]), -self.b / t**2, 0.0)
        G = np.exp(-self.alpha * tau)
        dG = -self.alpha * dtau * G
        D = tau * G
        dD = dtau * G + tau * dG
        row = x[..., None, :]
        S, C, dS, dC = ((row @ m)[..., 0, :] for m in (G, D, dG, dD))
        ratio = C / S
        dratio = (dC - ratio * dS) / S
        over = (1.0 / S)[..., None, :]
        F = G * over
        E = (D - G * ratio[..., None, :]) * over
        dE = (dD - dG * ratio[..., None, :] - G * dratio[..., None, :] - E * dS[..., None, :]) * over
        column = x[..., :, None]
        ln_gamma = ratio + (E @ column)[..., 0]
        dT = dratio + (dE @ column)[..., 0]
        linear = x @ self.margules
        ln_gamma = ln_gamma + linear - 0.5 * (linear * x).sum(axis=-1, keepdims=True)
        if not jacobian:
            return Evaluation(ln_gamma, dT, None)
        cross = (E * row) @ np.swapaxes(F, -1, -2)
        dx = E + np.swapaxes(E, -1, -2) - cross - np.swapaxes(cross, -1, -2)
        dx = dx + self.margules - linear[..., None, :] - linear[..., :, None]
        dx = dx + (linear * x).sum(axis=-1)[..., None, None]
        return Evaluation(ln_gamma, dT, dx)

    def perturbed(self, theta: Array) -> Activity:
        """Add ``theta`` (n, n, symmetric) standard uncertainties to the Margules amplitudes."""
        return replace(self, margules=self.margules + theta * self.u)
