"""The net of liquids that tells whether a dew point found is the highest."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fractionkit.mixture import Mixture
from fractionkit.mixture.activity import Activity
from fractionkit.mixture.dew import _highest
from fractionkit.mixture.screen import NET, challengers, net
from fractionkit.substances import names


@pytest.mark.parametrize("n", sorted(NET))
def test_net_covers_the_simplex(n):
    liquids = net(n)
    assert liquids.min() >= 0.0
    assert liquids.sum(axis=-1) == pytest.approx(np.ones(len(liquids)), abs=1e-10)
    for corner in np.eye(n):
        assert np.abs(liquids - corner).sum(axis=-1).min() < 1e-12
    # no liquid is far from the net
    anywhere = np.random.default_rng(0).dirichlet(np.ones(n), 300)
    nearest = np.linalg.norm(anywhere[:, None] - liquids[None], axis=-1).min(axis=-1)
    assert nearest.max() < {2: 0.01, 3: 0.06, 4: 0.17}[n]


def _target(y, pressure):
    return np.where(y > 0.0, np.log(np.where(y > 0.0, y, 1.0)), -700.0) + np.log(pressure)


def test_the_lower_of_two_roots_is_found_out():
    """Chloroform + water: the vapour over both liquids, made a little richer in one of them, has two dew points.

    Near the heteroazeotrope both liquids still satisfy the dew equations; the one that the vapour lacks lies lower.
    """
    mix = Mixture(["chloroform", "water"])
    c = mix.constants
    hetero = mix.immiscible_boiling_point(0, 1, 101325.0)
    assert hetero is not None
    assert hetero.liquids is not None
    for change, high in (
        (-0.02, 0),
        (0.02, 1),
    ):  # poorer in chloroform: the watery liquid, listed first, is the stable one
        y = (hetero.x + np.array([change, -change]))[None]
        target, present = _target(y, 101325.0), np.ones((1, 2), dtype=bool)
        roots = [_highest(c.vapour, c.activity, liquid[None, None], target, present) for liquid in hetero.liquids]
        (T, x), (T_low, x_low) = roots[high], roots[1 - high]
        assert T[0] > T_low[0] + 0.05
        assert abs(x[0, 0] - x_low[0, 0]) > 0.9
        assert not challengers(c.vapour, c.activity, target, T, x)[0][0]
        doubtful, better = challengers(c.vapour, c.activity, target, T_low, x_low)
        assert doubtful[0]
        assert abs(better[0, 0] - x[0, 0]) < 0.1
        assert mix.dew_point(y, 101325.0)[0] == pytest.approx(T, abs=1e-8)


@given(st.lists(st.sampled_from(names()), min_size=2, max_size=4, unique=True), st.integers(0, 10_000))
@settings(max_examples=40, deadline=None)
def test_no_other_liquid_lies_higher(subset, seed):
    """Michelsen's criterion at liquids of the test's own: none has a negative tangent-plane distance."""
    mix = Mixture(subset)
    rng = np.random.default_rng(seed)
    y = rng.dirichlet(np.full(mix.n, 0.6), 6)
    pressure = float(rng.uniform(20e3, 200e3))
    T, _ = mix.dew_point(y, pressure)
    for liquid in np.concatenate([rng.dirichlet(np.full(mix.n, 0.4), 30), 0.98 * np.eye(mix.n) + 0.02 / mix.n]):
        present = liquid > 0.0
        activity = np.log(np.where(present, liquid, 1.0)) + mix.ln_gamma(liquid, T)
        distance = (liquid * (activity + mix.ln_psat(T) - _target(y, pressure))).sum(axis=-1)
        assert (distance >= -1e-6).all()


def test_a_liquid_far_from_splitting_is_not_doubted(monkeypatch):
    """The extra starts cost n + 1 times the work; an everyday ternary needs none of them."""
    mix = Mixture(["dichloromethane", "chloroform", "methanol"])
    rows = []
    evaluate = Activity.evaluate

    def counted(self, x, T, *, jacobian=False):
        if jacobian:
            rows.append(len(x))
        return evaluate(self, x, T, jacobian=jacobian)

    y = np.random.default_rng(4).dirichlet(np.ones(3), 2000)
    monkeypatch.setattr(Activity, "evaluate", counted)
    mix.dew_point(y, 101325.0)
    assert max(rows) == 2000
    assert sum(rows) < 12 * 2000


@pytest.mark.parametrize("others", [(), ("carbon tetrachloride",), ("toluene", "hexane", "ethanol")])
@pytest.mark.parametrize("name", ["chloroform", "2-butanone", "1,2-dichloroethane"])
def test_liquids_part_inside_the_two_that_boil_together(name, others):
    """Where two liquids boil together each holds all of the other that it can: a hundredth more parts, less does not.

    The two come from the jump of the first liquid along the dew curve, not from the tangent plane. Of the other
    components there is none.
    """
    mix = Mixture([name, "water", *others])
    point = mix.immiscible_boiling_point(0, 1, 101325.0)
    assert point is not None
    assert point.liquids is not None
    foreign = np.sort(point.liquids, axis=0)[0]  # mole fraction of each in the liquid of the other
    x = np.zeros((4, mix.n))
    for row, share in enumerate((0.98, 1.02)):
        x[row, :2] = share * foreign[0], 1.0 - share * foreign[0]
        x[row + 2, :2] = 1.0 - share * foreign[1], share * foreign[1]
    assert mix.parts(mix.mass_fractions(x), point.T).tolist() == [False, True, False, True]


def test_what_mixes_never_parts():
    w = np.random.default_rng(3).dirichlet(np.ones(3), 200)
    mix = Mixture(["methanol", "acetone", "ethanol"])
    assert not mix.parts(w, 293.15).any()
    assert mix.parts(w.reshape(10, 20, 3), 293.15).shape == (10, 20)
