"""Choice of the lot, against brute force over all combinations and a closed form."""

from itertools import combinations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import norm

from fractionkit.lots import choose, meets


def brute_force(mass, draws, purity, confidence):
    """Heaviest mass of any combination that meets the target, by trying each of them."""
    best = 0.0
    cuts = range(len(mass))
    for size in range(1, len(mass) + 1):
        for combo in combinations(cuts, size):
            chosen = list(combo)
            assay = draws[:, chosen] @ mass[chosen] / mass[chosen].sum()
            if (assay >= purity).mean() >= confidence:
                best = max(best, mass[chosen].sum())
    return best


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 10_000), st.integers(2, 9), st.sampled_from([0.9, 0.95, 0.99]))
def test_small_runs_are_solved_exactly(seed, cuts, purity):
    rng = np.random.default_rng(seed)
    mass = rng.uniform(0.05, 0.4, cuts)
    centre = 1.0 - 0.15 * rng.random(cuts) ** 2
    draws = np.clip(centre + 0.01 * rng.standard_normal((300, 1)) + 0.01 * rng.standard_normal((300, cuts)), 0, 1)
    chosen = choose(mass, draws, purity, 0.95)
    assert mass[chosen].sum() == pytest.approx(brute_force(mass, draws, purity, 0.95))
    if chosen.any():
        assay = draws[:, chosen] @ mass[chosen] / mass[chosen].sum()
        assert (assay >= purity).mean() >= 0.95


def test_longer_runs_come_close_to_brute_force():
    """13 to 15 cuts go by order, additions and exchanges: never infeasible, within 3 % of the heaviest."""
    short = []
    for seed in range(6):
        rng = np.random.default_rng(seed)
        cuts = 13
        mass = rng.uniform(0.05, 0.4, cuts)
        centre = 1.0 - 0.15 * rng.random(cuts) ** 2
        draws = np.clip(centre + 0.01 * rng.standard_normal((120, 1)) + 0.01 * rng.standard_normal((120, cuts)), 0, 1)
        chosen = choose(mass, draws, 0.97, 0.95)
        assay = draws[:, chosen] @ mass[chosen] / mass[chosen].sum()
        assert (assay >= 0.97).mean() >= 0.95
        short.append(mass[chosen].sum() / brute_force(mass, draws, 0.97, 0.95))
    assert min(short) > 0.97
    assert max(short) <= 1.0 + 1e-12


def test_shared_errors_do_not_average_out():
    """Two cuts just above the target: with one common error the lot is as uncertain as a cut, with two it gains."""
    z = norm.ppf((np.arange(4000) + 0.5) / 4000)
    rng = np.random.default_rng(3)
    other = rng.permutation(z)
    mass = np.array([1.0, 1.0])
    together = np.stack([0.991 + 0.0007 * z, 0.991 + 0.0007 * z], axis=1)
    apart = np.stack([0.991 + 0.0007 * z, 0.991 + 0.0007 * other], axis=1)
    assert meets((mass * (together - 0.99)).sum(axis=1)) == pytest.approx(norm.cdf(1 / 0.7), abs=1e-3)
    assert meets((mass * (apart - 0.99)).sum(axis=1)) == pytest.approx(norm.cdf(np.sqrt(2) / 0.7), abs=5e-3)
    assert not choose(mass, together, 0.99, 0.95).any()
    assert choose(mass, apart, 0.99, 0.95).all()


def test_guarded_acceptance_of_a_normal_posterior():
    """JCGM 106:2012, 7.3.2: for a normal posterior the conformance probability is Phi((y - T_L)/u). One cut, closed form."""
    z = norm.ppf((np.arange(20_000) + 0.5) / 20_000)
    for margin, kept in ((1.60, False), (1.70, True)):  # 95 % asks for 1.645 standard uncertainties
        draws = (0.99 + margin * 0.001 + 0.001 * z)[:, None]
        assert choose(np.array([0.3]), draws, 0.99, 0.95).tolist() == [kept]


def test_cuts_of_unknown_mass_are_never_chosen():
    draws = np.full((10, 3), 0.999)
    assert choose(np.array([np.nan, 0.2, 0.0]), draws, 0.99, 0.95).tolist() == [False, True, False]


def test_a_long_run_is_chosen_in_one_pass():
    rng = np.random.default_rng(1)
    draws = np.clip(rng.uniform(0.9, 1.0, 2000) + 0.001 * rng.standard_normal((64, 2000)), 0, 1)
    mass = rng.uniform(0.1, 0.2, 2000)
    chosen = choose(mass, draws, 0.99, 0.95)
    assay = draws[:, chosen] @ mass[chosen] / mass[chosen].sum()
    assert (assay >= 0.99).mean() >= 0.95
    assert chosen.sum() > 300  # the purest fifth alone averages 99 % together with a share of what is below


@pytest.mark.parametrize("cuts", [10, 100])
def test_of_cuts_that_are_alike_the_first_in_the_sheet_are_taken(cuts):
    """A third is purer and makes up for some of the rest, which are all alike: no reader should see an arbitrary hole."""
    for seed in range(6):
        rng = np.random.default_rng(seed)
        true = np.where(np.arange(cuts) < cuts // 3, 0.908, 0.898)
        draws = true + 0.002 * rng.standard_normal((4096, 1)) + 0.004 * rng.standard_normal((4096, cuts))
        places = np.flatnonzero(choose(np.full(cuts, 0.1), draws, 0.9, 0.95))
        assert cuts // 3 < len(places) < cuts
        assert places.tolist() == list(range(len(places)))
