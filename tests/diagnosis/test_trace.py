"""The way of a foreign component through the cuts: closed forms of Rayleigh's equation, and a column followed in time."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fractionkit.diagnosis.foreign import LEVELS, candidates
from fractionkit.diagnosis.ground import ground
from fractionkit.diagnosis.trace import AMOUNTS, traces
from fractionkit.mixture import Mixture
from tests.diagnosis.worlds import distilled, evidence


def run_of(masses, residue):
    size = len(masses) + 1
    return SimpleNamespace(
        evidence=SimpleNamespace(size=size, cuts=size - 1, residue=True, charge=False),
        mass=np.append(masses, residue),
        chosen=np.arange(size),
    )


@settings(max_examples=50)
@given(
    st.lists(st.floats(0.05, 1.0), min_size=2, max_size=8),
    st.floats(0.05, 1.0),
    st.floats(-2.0, 2.0),
)
def test_a_trace_is_conserved_and_follows_its_volatility(masses, residue, log_k):
    masses = np.array(masses)
    pot = np.broadcast_to(LEVELS / np.exp(log_k), (1, len(masses), len(LEVELS)))
    held, amount = np.append(masses, residue), AMOUNTS[0]
    content = traces(run_of(masses, residue), LEVELS, pot)[0].content(amount)
    # Rayleigh, Phil. Mag. 4 (1902) 521: what stays is (W/W0)^K of what was there.
    left = (residue / held.sum()) ** np.exp(log_k)
    np.testing.assert_allclose(content[-1] * residue, amount * held.sum() * left, rtol=1e-6, atol=1e-12)
    np.testing.assert_allclose((content * held).sum(), amount * held.sum(), rtol=1e-6)


def test_a_component_of_constant_relative_volatility_leaves_as_rayleigh_says():
    alpha, masses, residue = 4.0, np.full(8, 0.1), 0.2
    volatile = LEVELS / (alpha - (alpha - 1.0) * LEVELS)  # p of c = alpha p/(1 + (alpha - 1) p)
    trace = traces(run_of(masses, residue), LEVELS, np.broadcast_to(volatile, (1, 8, len(LEVELS))))[0]
    for x0 in (0.05, 0.2, 0.4):
        content = trace.content(x0)
        x = content[-1]
        # ln(W0/W) = [ln(x0 (1-x)/(x (1-x0))) + (alpha-1) ln((1-x)/(1-x0))]/(alpha-1), x the pot's fraction at W
        found = (np.log(x0 * (1 - x) / (x * (1 - x0))) + (alpha - 1) * np.log((1 - x) / (1 - x0))) / (alpha - 1)
        # nine levels of content and as many amounts, between which straight lines run
        np.testing.assert_allclose(found, np.log(1.0 / residue), rtol=0.05)


@pytest.mark.parametrize(("extra", "stages", "number"), [("ethanol", 1, 0), ("tetrachloroethylene", 3, 2)])
def test_contents_are_those_of_a_column_followed_in_time(extra, stages, number):
    names = ("chloroform", "trichloroethylene")
    w, mass = distilled((*names, extra), [0.57, 0.38, 0.05], stages)
    own = w[:, :2] / w[:, :2].sum(axis=1, keepdims=True)
    # compositions as they are: only the trace is tested
    base = replace(ground(Mixture(names), evidence(names, own), mass), w=own)
    hypotheses, _ = candidates(base)
    found = next(h for h in hypotheses if h.cause == extra).variants[number].carried.content(0.05)
    # a tenth of the charge is left, as is assumed where no residue was weighed
    rich = w[:, 2] > 0.1 * w[:, 2].max()
    shape, true = found[rich] / found[rich].mean(), w[rich, 2] / w[rich, 2].mean()
    np.testing.assert_allclose(np.log(shape), np.log(true), atol=0.15)
