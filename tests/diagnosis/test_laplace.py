"""Evidence against the closed form of a linear model."""

import numpy as np
from scipy.stats import multivariate_normal

from fractionkit.diagnosis.laplace import changed, fit
from fractionkit.inference.channels import Normal
from fractionkit.inference.joint import Block, Channel
from fractionkit.inference.nodes import coarse


def one_node_block(readings, jacobian, sd):
    """Cuts whose composition is known: one node each, so that the evidence is a normal density."""
    from dataclasses import replace

    size = len(readings)
    rough = coarse(2)
    nodes = replace(
        rough,
        w=np.full((size, 1, 2), 0.5),
        log_volume=np.zeros((size, 1)),
        coordinates=np.full((size, 1, 1), 0.5),
        half=np.full((size, 1, 1), 0.5),
        shear=np.zeros((size, 1)),
        cells=(1,),
    )
    none = np.zeros(0, dtype=np.intp)
    count = jacobian.shape[1]
    channel = Channel(
        "density",
        Normal.of(readings, np.full(size, sd)),
        np.zeros((size, 1)),
        np.arange(count),
        jacobian[:, None, :],
        none,
        np.zeros((size, 1, 0)),
    )
    return Block(slice(0, size), nodes, (channel,))


def test_evidence_of_a_linear_model_is_its_normal_density():
    rng = np.random.default_rng(3)
    jacobian, sd = rng.standard_normal((6, 2)), 0.4
    readings = rng.standard_normal(6)
    block = one_node_block(readings, jacobian, sd)
    fault = np.array([1.0, 1.0, 1.0, 0.0, 0.0, 0.0])
    shifted = changed(block, {"density": 0.7 * fault[:, None]})
    free = changed(block, {}, {"density": 2.0 * fault[:, None, None]}, 1, 2)
    plain = jacobian @ jacobian.T + sd**2 * np.eye(6)
    expected = [
        multivariate_normal.logpdf(readings, np.zeros(6), plain),
        multivariate_normal.logpdf(readings, 0.7 * fault, plain),
        multivariate_normal.logpdf(readings, np.zeros(6), plain + 4.0 * np.outer(fault, fault)),
    ]
    found = [fit(block, 2).log_evidence, fit(shifted, 2).log_evidence, fit(free, 3).log_evidence]
    np.testing.assert_allclose(np.diff(found), np.diff(expected), atol=1e-6)


def test_size_of_a_free_fault_is_its_posterior():
    readings = np.full(5, 3.0)
    block = changed(one_node_block(readings, np.zeros((5, 0)), 1.0), {}, {"density": np.full((5, 1, 1), 2.0)}, 1, 0)
    found = fit(block, 1)
    precision = 1.0 + 5 * 2.0**2  # prior one, five readings each 2 per unit
    np.testing.assert_allclose(found.theta[0], 5 * 2.0 * 3.0 / precision, atol=0.01)
    np.testing.assert_allclose(found.sd(0), precision**-0.5, rtol=1e-6)
