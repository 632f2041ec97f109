"""What readings say of the errors they share when nothing but the readings may speak.

Theory, not our own output: one unknown composition a cut and one head temperature each leave an activity, a vapour
pressure, a bias as uncertain as they were (every value of them is met by some composition); a sum of powers of a normal
likelihood over cells has a closed form; the chance of an order is a sum over all runs of nodes.
"""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np
import pytest

from fractionkit.composition.posterior import fit_evidence
from fractionkit.courses.chain import SLIP, TOLERANCE, Links, link, log_chance_of_order
from fractionkit.inference import nodes as points
from fractionkit.inference.channels import Normal
from fractionkit.inference.importance import SharedPosterior
from fractionkit.inference.joint import Block, Channel, log_evidence
from fractionkit.mixture import Mixture
from tests.proof.simulate import GOOD, benches, readings

ACTIVITY = "activity of 1,1,1-trichloroethane + trichloroethylene"


def test_head_temperatures_alone_do_not_tell_an_activity():
    names = ("1,1,1-trichloroethane", "trichloroethylene")
    mixture = Mixture(names)
    spreads = []
    for bench in benches(names, 4, 2001, control=True):
        size = len(bench.mass)
        bare = replace(bench, has_head=np.ones(size, dtype=bool), has_density=np.zeros(size, dtype=bool))
        fit = fit_evidence(mixture, readings(bare, GOOD, 2001))
        place = fit.errors.index(ACTIVITY)
        spreads.append(float(fit.shared.sd()[place]))
    # theory: 1, less where a reading lies beyond what any composition shows; volumes that vote once a cut left 0.5
    assert np.median(spreads) > 0.7


@pytest.mark.parametrize("power", [1.0, 4.0, 16.0])
def test_power_of_a_sharp_likelihood_is_resolved_and_its_integral_kept(power):
    """1/power ln of the integral of a normal likelihood's power, wherever it stands against the cells:
    (2 pi sd^2/power)^(1/2) for a flat prior, however narrow against the cells."""
    cells = replace(points.coarse(2), power=power)
    cells = replace(cells, log_volume=np.full((1, 256), -np.log(256)))
    sd = 0.1 / 256  # a tenth of a cell
    found = []
    for at in np.linspace(0.4, 0.4 + 1.0 / 256, 9):
        w = cells.w[..., 0]
        scatter = Normal.of(np.array([at]), np.array([sd]), cells.across_cell(w), power)
        none = np.zeros(0, dtype=np.intp)
        channel = Channel("density", scatter, w, none, np.zeros((1, 256, 0)), none, np.zeros((1, 256, 0)))
        found.append(float(log_evidence([Block(slice(0, 1), cells, (channel,))], np.zeros((1, 0)))[0]))
    expected = 0.5 * np.log(2.0 * np.pi * sd**2 / power) / power
    np.testing.assert_allclose(found, expected, atol=1e-3)


def test_chance_of_an_order_is_the_sum_over_all_runs_of_nodes():
    rng = np.random.default_rng(5)
    steps = [rng.normal(0.0, 3.0, (size, 1)) for size in (3, 4, 2)]
    share = [rng.dirichlet(np.ones(len(step)), 5) for step in steps]
    found = log_chance_of_order(share, steps)
    total = np.zeros(5)
    for nodes in itertools.product(*(range(len(step)) for step in steps)):
        chance = np.prod([part[:, node] for part, node in zip(share, nodes, strict=True)], axis=0)
        for first, second in itertools.pairwise(range(3)):
            gap = steps[first][nodes[first], 0] - steps[second][nodes[second], 0]
            chance = chance * (SLIP + (1.0 - SLIP) / (1.0 + np.exp(-gap)))
        total += chance
    np.testing.assert_allclose(found, np.log(total), atol=1e-10)


def test_the_order_does_not_weigh_the_shared_errors():
    """Two samples alike in weight: with one the cuts are told apart, with the other they are not. Both keep half."""
    cells = points.coarse(2)
    middle = cells.coordinates[0, :, 0]
    apart = [np.exp(-0.5 * ((middle - at) / 0.01) ** 2) for at in (0.6, 0.4)]
    mixed = [np.exp(-0.5 * ((middle - 0.5) / 0.1) ** 2) for _ in range(2)]
    share = np.stack([np.stack(apart), np.stack(mixed)], axis=-1)
    share /= share.sum(axis=1, keepdims=True)
    nodes = replace(cells, **{name: np.repeat(getattr(cells, name), 2, axis=0) for name in
                              ("w", "log_volume", "coordinates", "half", "shear", "reach")})  # fmt: skip
    shared = SharedPosterior(np.zeros((2, 1)), np.array([0.5, 0.5]), np.zeros(1), np.eye(1), 2.0, 0.0, 0.0)
    links = Links((0, 1), np.ones(2))
    found = link([(Block(slice(0, 2), nodes, ()), slice(0, 2), share)], shared, links)
    chance = np.exp(
        log_chance_of_order(
            [part.T for part in share], [np.log(nodes.w[v, :, :1] / nodes.w[v, :, 1:]) / TOLERANCE for v in (0, 1)]
        )
    )
    assert chance[1] < 0.6 < 0.99 < chance[0]
    assert np.mean(found.samples == 0) == pytest.approx(0.5, abs=0.03)
