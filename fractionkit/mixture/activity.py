"""Activity coefficients: multi-component NRTL plus Margules terms for the model's own error."""

from __future__ import annotations

from dataclasses import dataclass, fields, replace

import numpy as np

from fractionkit.mixture.arrays import Array

TAU_T_MIN = 230.0
TAU_T_MAX = 480.0
"""K. tau = a + b/T is evaluated at T clipped to this span: it was fitted within 280-400 K, and b/T must not run away
when a bracketing search passes through absurd temperatures. Outside the span d ln gamma/dT is zero."""


@dataclass(frozen=True)
class Evaluation:
    """ln gamma and its derivatives at one set of points.

    ln_gamma : (..., n);  slope_t : (..., n) d ln gamma/dT, 1/K;  slope_x : (..., n, n) N d ln gamma_i/d n_j, or None.
    """

    ln_gamma: Array
    slope_t: Array
    slope_x: Array | None


@dataclass(frozen=True)
class Activity:
    """Parameters of the NRTL equation (Renon and Prausnitz, AIChE J. 14 (1968) 135-144).

    tau_ij = a_ij + b_ij/T,  G_ij = exp(-alpha_ij tau_ij), and an error of the model as two Margules terms a pair,
    g^E/RT = sum over i < j of A_ij x_i x_j + B_ij x_i x_j (x_i - x_j): at infinite dilution ln gamma_i changes by
    A_ij - B_ij and ln gamma_j by A_ij + B_ij. B_ji = -B_ij makes the second one the same for either order of a pair.

    a, b : (n, n), diagonal zero, b in K;  alpha, margules (A) : (n, n), symmetric;  skew (B) : (n, n), antisymmetric;
    u, u_skew : (n, n), symmetric, the standard uncertainties of A and B.
    """

    a: Array
    b: Array
    alpha: Array
    margules: Array
    skew: Array
    u: Array
    u_skew: Array

    @property
    def ideal(self) -> bool:
        """Whether every ln gamma is zero (Raoult's law)."""
        return not (self.a.any() or self.b.any() or self.margules.any() or self.skew.any())

    def evaluate(self, x: Array, T: Array, *, jacobian: bool = False) -> Evaluation:
        """Return ln gamma and its derivatives at mole fractions ``x`` (..., n) and ``T`` (...) in K.

        ``slope_x`` is symmetric and sum_i x_i slope_x_ij = 0 (Gibbs-Duhem), because the equation is homogeneous of
        degree zero in the amounts.
        """
        shape = np.broadcast_shapes(x.shape[:-1], np.shape(T))
        n = x.shape[-1]
        if self.ideal:
            zero = np.zeros((*shape, n))
            return Evaluation(zero, zero, np.zeros((*shape, n, n)) if jacobian else None)
        # inside, the points run along the last axis: sums over components are then sums of whole vectors
        flat = np.ascontiguousarray(np.broadcast_to(x, (*shape, n)).reshape(-1, n).T)
        t = np.broadcast_to(T, shape).reshape(-1)
        ln_gamma, slope_t, slope_x = self._columns(flat, t, jacobian)
        return Evaluation(
            ln_gamma.T.reshape((*shape, n)),
            slope_t.T.reshape((*shape, n)),
            None if slope_x is None else np.moveaxis(slope_x, -1, 0).reshape((*shape, n, n)),
        )

    def _columns(self, x: Array, T: Array, jacobian: bool) -> tuple[Array, Array, Array | None]:
        """`evaluate` for x (n, N) and T (N,): results (n, N), (n, N), (n, n, N).

        S_j = sum_k x_k G_kj, C_j = sum_k x_k tau_kj G_kj, ln gamma_i = C_i/S_i + sum_j x_j E_ij with
        E_ij = (tau_ij G_ij - G_ij C_j/S_j)/S_j; D stands for tau G, a leading d for a derivative by T.

        The third-degree term t = sum_i x_i^2 (B x)_i of n g^E/RT = N t(n)/N^3 gives, with t_k = dt/dx_k =
        2 x_k (B x)_k - (B x^2)_k and t_kl = 2 [k = l] (B x)_k + 2 B_kl (x_k - x_l), ln gamma_k += t_k - 2 t and
        N d ln gamma_k/dn_l += t_kl - 2 t_k - 2 t_l + 6 t.
        """
        t = np.clip(T, TAU_T_MIN, TAU_T_MAX)
        tau = self.a[:, :, None] + self.b[:, :, None] / t
        dtau = np.where(t == T, -self.b[:, :, None] / t**2, 0.0)
        alpha = self.alpha[:, :, None]
        G = np.exp(-alpha * tau)
        D = tau * G
        dG = -alpha * dtau * G
        dD = dtau * (G - alpha * D)
        row = x[:, None]
        S, C, dS, dC = ((row * m).sum(axis=0) for m in (G, D, dG, dD))
        ratio = C / S
        dratio = (dC - ratio * dS) / S
        E = (D - G * ratio) / S
        dE = (dD - dG * ratio - G * dratio - E * dS) / S
        linear = self.margules @ x
        quadratic = (linear * x).sum(axis=0)
        ln_gamma = ratio + (E * x).sum(axis=1) + linear - 0.5 * quadratic
        skewed = bool(self.skew.any())
        if skewed:
            inner = self.skew @ x
            term = (x**2 * inner).sum(axis=0)
            first = 2.0 * x * inner - self.skew @ x**2
            ln_gamma = ln_gamma + first - 2.0 * term
        slope_t = dratio + (dE * x).sum(axis=1)
        if not jacobian:
            return ln_gamma, slope_t, None
        cross = ((E * x)[:, None] * (G / S)[None]).sum(axis=2)
        slope_x = E + E.swapaxes(0, 1) - cross - cross.swapaxes(0, 1)
        slope_x = slope_x + self.margules[:, :, None] - linear[None] - linear[:, None] + quadratic
        if skewed:
            second = 2.0 * self.skew[:, :, None] * (x[:, None] - x[None])
            second = second + 2.0 * np.eye(len(x))[:, :, None] * inner
            slope_x = slope_x + second - 2.0 * (first[None] + first[:, None]) + 6.0 * term
        return ln_gamma, slope_t, slope_x

    def perturbed(self, theta: Array, theta_skew: Array) -> Activity:
        """Add ``theta`` (n, n, symmetric) and ``theta_skew`` (n, n, antisymmetric) standard uncertainties."""
        return replace(self, margules=self.margules + theta * self.u, skew=self.skew + theta_skew * self.u_skew)

    def select(self, index: Array) -> Activity:
        """Parameters of some of the components, in the order of ``index``."""
        return Activity(*(getattr(self, f.name)[np.ix_(index, index)] for f in fields(self)))
