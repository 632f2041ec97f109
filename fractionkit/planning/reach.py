"""The limit that no reflux passes: the purest drop of a distillation so slow that the column stands at total reflux."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from fractionkit.planning.cutting.heart import guarded
from fractionkit.planning.scenarios import Scenarios
from fractionkit.planning.setups import SetUp
from fractionkit.still import distil

Array = NDArray[np.float64]

NEARLY_TOTAL = 1e4
"""Reflux ratio taken for total reflux; the composition of the distillate is then off by parts in 1e4 of its change."""

DISTILLED = 0.98
"""Part of the charge that is distilled in search of the purest drop."""

ENDLESS, HIGH = 40.0, 1e3
"""Stages and reflux taken for as many as anyone could have; sharper than any bench column."""


def purest_drop(scenarios: Scenarios, stages: Array) -> Array:
    """Highest mass fraction (S,) of the target in any drop at total reflux with ``stages`` (S,), nothing held up.

    Drops are taken one by one from a pot that changes; a column can do no better at any reflux (Fenske's limit at every
    moment of the distillation).
    """
    course = distil(
        scenarios.volatility, scenarios.moles, stages, NEARLY_TOTAL, scenarios.pressure, distilled=DISTILLED, points=1,
        tolerance=2e-3,
    )  # fmt: skip
    return np.asarray(course.distillate_w[..., scenarios.component].max(axis=1))


def total_reflux_limit(scenarios: Scenarios, setup: SetUp) -> float:
    """The purest drop that comes in as many scenarios as the target's confidence asks for; kept in ``scenarios``."""
    if setup not in scenarios.limits:
        drop = purest_drop(scenarios, scenarios.stages(setup))
        scenarios.limits[setup] = float(guarded(drop, scenarios.feed.target.confidence))
    return scenarios.limits[setup]


def endless_limit(scenarios: Scenarios) -> float:
    """The same with stages without end and the model as it stands, for the likeliest feed: what the mixture allows."""
    w = scenarios.feed.w.mean(axis=0)
    moles = scenarios.feed.mass.mean() * w / scenarios.mixture.molar_mass
    course = distil(
        scenarios.mixture, moles, ENDLESS, HIGH, scenarios.pressure_mean, distilled=DISTILLED, points=1,
        tolerance=2e-3,
    )  # fmt: skip
    return float(course.distillate_w[..., scenarios.component].max())
