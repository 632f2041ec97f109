"""The time of an inference grows with the number of cuts, not faster: a ratio in one run, not a time."""

import time

import numpy as np

from fractionkit.composition import Evidence
from fractionkit.composition.blocks import Setting
from fractionkit.composition.evidence import nothing
from fractionkit.composition.posterior import lay
from fractionkit.inference.joint import log_evidence
from fractionkit.mixture import Mixture
from fractionkit.readings import Measured

MIXTURE = Mixture(["trichloroethylene", "tetrachloroethylene"])


def long_run(cuts):
    """A run of ``cuts`` cuts whose readings are the model's own, with noise."""
    rng = np.random.default_rng(5)
    w = np.linspace(0.01, 0.99, cuts)
    w = np.stack([1.0 - w, w], axis=-1)
    head = MIXTURE.dew_point(MIXTURE.mole_fractions(w), 98_600.0)[0]
    one = np.ones(cuts)
    density = MIXTURE.density(w, 294.15 * one) + 0.6 * rng.standard_normal(cuts)
    start, end = (head + move + 0.1 * rng.standard_normal(cuts) for move in (-0.1, 0.1))
    return Evidence(
        names=tuple(f"C{k}" for k in range(cuts)),
        pressure=98_600.0,
        pressure_u=200.0,
        head_start=Measured(start, 0.1 * one, {"thermometer": 0.4 * one}),
        head_end=Measured(end, 0.1 * one, {"thermometer": 0.4 * one}),
        range_start=nothing(cuts),
        range_end=nothing(cuts),
        density=Measured(density, 0.6 * one, {"density": 0.4 * one}),
        density_temperature=294.15 * one,
        index=nothing(cuts),
        index_temperature=np.full(cuts, np.nan),
    )


def seconds(cuts):
    """Processor time of laying the nodes and summing every cut out for 64 samples of the shared errors.

    The search for their mode asks for the same work 10 to 40 times, by how the readings fall.
    """
    setting = Setting.of(MIXTURE, long_run(cuts))
    size = len(setting.errors)
    theta = 0.1 * np.random.default_rng(1).standard_normal((64, size))
    start = time.process_time()
    log_evidence(lay(setting, np.zeros(size), np.eye(size)), theta)
    return time.process_time() - start


def test_time_grows_with_the_number_of_cuts_and_no_faster():
    seconds(30)  # imports and tables read
    assert seconds(3000) / seconds(1000) < 4.5
