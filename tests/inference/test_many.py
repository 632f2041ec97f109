"""Many samples of the shared errors at once: against integrals with a closed form, finite differences and the plain way."""

from dataclasses import replace

import numpy as np
import pytest

from fractionkit.inference import nodes as points
from fractionkit.inference.channels import Detected, Normal, Range
from fractionkit.inference.joint import Block, Channel, gradients, log_evidence, shares

CUTS, CELLS, SIZE = 3, 300, 4


def flat_nodes(power=1.0):
    edges = np.linspace(0, 1, CELLS + 1)
    nodes = points._from_windows(
        np.tile(edges[:-1], (CUTS, 1))[..., None], np.tile(edges[1:], (CUTS, 1))[..., None], (CELLS,)
    )
    return replace(nodes, log_volume=np.full(nodes.log_volume.shape, -np.log(CELLS)), power=power)


def channel(scatter, nodes, errors, slope, bending=(), bend=()):
    shape = nodes.log_volume.shape
    return Channel(
        "",
        scatter,
        350.0 + 100.0 * nodes.w[..., 0],
        np.array(errors, dtype=np.intp),
        np.broadcast_to(slope, (*shape, len(errors))),
        np.array(bending, dtype=np.intp),
        np.broadcast_to(bend, (*shape, len(bending))),
    )


def test_two_normal_readings_are_integrated_as_on_paper():
    """Two readings of 350 + 100 w with errors of their own: their product is a normal of w times one of their difference.

    Integral over w of exp(-(a - 100 w)^2/2 s^2 - (b - 100 w)^2/2 t^2) =
    sqrt(2 pi) s t/sqrt(s^2 + t^2)/100 exp(-(a - b)^2/2 (s^2 + t^2)).
    """
    nodes = flat_nodes()
    first, second = np.array([30.0, 50.0, 70.0]), np.array([31.0, 50.2, 68.0])
    s, t = 1.5, 2.0
    block = Block(
        slice(0, CUTS),
        nodes,
        (
            channel(Normal.of(350.0 + first, np.full(CUTS, s)), nodes, [0], [0.8]),
            channel(Normal.of(350.0 + second, np.full(CUTS, t)), nodes, [2], [-0.5], [1], [0.3]),
        ),
    )
    theta = np.random.default_rng(1).standard_normal((40, SIZE))
    gap = (first - second)[:, None] - 0.8 * theta[:, 0] - 0.5 * theta[:, 2] + 0.3 * theta[:, 1] ** 2
    constant = np.log(np.sqrt(2 * np.pi) * s * t / np.hypot(s, t) / 100.0)
    expected = (constant - 0.5 * gap**2 / (s**2 + t**2)).sum(axis=0) - 0.5 * (theta**2).sum(axis=1)
    np.testing.assert_allclose(log_evidence([block], theta), expected, atol=1e-4)
    slope = -gap / (s**2 + t**2)  # change of the log evidence with the gap, for each cut
    by_errors = np.stack([-0.8 * slope, 0.6 * theta[:, 1] * slope, -0.5 * slope, 0.0 * slope], axis=-1).sum(axis=0)
    np.testing.assert_allclose(gradients([block], theta), by_errors - theta, atol=1e-3)


@pytest.fixture(params=[1.0, 4.0])
def mixed(request):
    """A range, one not taken, a test, and a reading of some cuts, in one block."""
    nodes = flat_nodes(request.param)
    start, end = np.array([370.0, 390.0, np.nan]), np.array([374.0, 390.5, np.nan])
    taken = np.array([381.0, np.nan, 402.0])
    normal = Normal.of(taken, np.full(CUTS, 0.5), nodes.across_cell(350.0 + 100.0 * nodes.w[..., 0]), nodes.power)
    tested = Detected(np.array([np.nan, np.nan, 0.01]), np.array([0.0, 0.0, 1.0]))
    return Block(
        slice(0, CUTS),
        nodes,
        (
            channel(Range.between(start, end, np.full(CUTS, 0.4)), nodes, [0, 3], [0.6, -0.3], [3], [0.2]),
            channel(normal, nodes, [1], [0.7]),
            replace(channel(tested, nodes, [], np.zeros(0)), prediction=nodes.w[..., 0]),
        ),
    )


def test_every_kind_of_reading_is_as_likely_as_said_one_sample_at_a_time(mixed):
    theta = 2.0 * np.random.default_rng(2).standard_normal((30, SIZE))
    one = np.stack([mixed.log_density(sample) for sample in theta], axis=-1)
    many = mixed.log_density(theta)
    near = one > one.max(axis=1, keepdims=True) - 20.0
    np.testing.assert_allclose(many[near], one[near], atol=2e-4)
    found = np.concatenate([share for _, _, share in shares([mixed], theta)], axis=2)
    expected = np.exp(one - one.max(axis=1, keepdims=True))
    np.testing.assert_allclose(found, expected / expected.sum(axis=1, keepdims=True), atol=1e-4)


def test_the_gradient_is_that_of_the_evidence(mixed):
    """The tabulated likelihood is linear by pieces: differences over many pieces of it agree on the average only."""
    theta, step = np.random.default_rng(3).standard_normal((200, SIZE)), 0.05
    found = gradients([mixed], theta)
    for i, move in enumerate(step * np.eye(SIZE)):
        difference = (log_evidence([mixed], theta + move) - log_evidence([mixed], theta - move)) / (2.0 * step)
        np.testing.assert_allclose(found[:, i], difference, rtol=0.05, atol=0.05)


def test_an_empty_block_says_nothing():
    """No reading at all: volumes that sum to one have the logarithm 0 of their sum."""
    block = Block(slice(0, CUTS), flat_nodes().first(1), ())
    theta = np.zeros((5, SIZE))
    np.testing.assert_allclose(log_evidence([block], theta), 0.0, atol=1e-4)
    np.testing.assert_allclose(gradients([block], theta), 0.0, atol=1e-12)
