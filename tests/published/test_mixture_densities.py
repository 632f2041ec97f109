"""Published densities of binary mixtures against what the mixture predicts of them, and compositions recovered from them.

Source: NIST ThermoML archive, open data, read in public copies (data/checks/mixture_densities.csv). The mole fractions were
weighed by the authors. Excess volumes marked as fitted to these rows are no prediction of them: there the checks show that two
terms carry a whole curve within the stated uncertainty. Chloroform + acetone, the second paper of ethanol + water and the ends of
every curve are predictions.
"""

import csv
from pathlib import Path

import numpy as np

from fractionkit.composition import Evidence, fit_evidence
from fractionkit.composition.evidence import nothing
from fractionkit.mixture import Mixture
from fractionkit.readings import Measured

TABLE = Path("data/checks/mixture_densities.csv")
PAIRS = (("acetone", "chloroform"), ("methanol", "acetone"), ("ethanol", "water"), ("methanol", "chlorobenzene"))
SINGLE = (
    ("ethyl acetate", "1,2-dichloroethane"), ("2-propanol", "water"), ("ethanol", "ethyl acetate"),
    ("hexane", "ethyl acetate"), ("hexane", "toluene"), ("hexane", "ethanol"), ("methanol", "water"),
)  # fmt: skip
REPEAT, BIAS = 0.2, 0.2  # kg/m3, of the papers' densities and of a good meter


def published(pair, least=9):
    lines = [line for line in TABLE.read_text(encoding="utf-8").splitlines() if not line.startswith("#")]
    rows = [row for row in csv.DictReader(lines) if (row["first"], row["second"]) == pair]
    assert len(rows) >= least
    return (np.array([float(row[key]) for row in rows]) for key in ("t_C", "x1", "density_kg_m3"))


def deviations(chosen, least=9):
    """In standard uncertainties of the prediction, all pairs."""
    found = []
    for pair in chosen:
        t, x, density = published(pair, least)
        mixture = Mixture(pair)
        w, T = mixture.mass_fractions(np.stack([x, 1.0 - x], axis=-1)), t + 273.15
        u = np.sqrt((mixture.density_errors(w, T) ** 2).sum(axis=-1) + REPEAT**2)
        found.append((density - mixture.density(w, T)) / u)
    return np.concatenate(found)


def test_measured_densities_lie_inside_their_predicted_intervals():
    away = deviations(PAIRS)
    assert len(away) >= 60
    assert (np.abs(away) < 1.959964).mean() >= 0.9
    # Reached: root mean square 0.9; a tenth of it would mean uncertainties so wide that they say nothing.
    assert 0.2 < np.sqrt((away**2).mean()) < 1.5


def test_single_measured_densities_lie_inside_their_predicted_intervals():
    """One mixture a pair near x = 0.5 (0.16 for hexane + toluene), from which its excess volume was taken: reproduced.

    Methanol + water, at x = 0.27, is a check: its excess volume was there before.
    """
    away = deviations(SINGLE, least=1)
    assert len(away) == len(SINGLE)
    assert (np.abs(away) < 1.0).all()


def test_every_row_belongs_to_a_pair_that_is_checked():
    lines = [line for line in TABLE.read_text(encoding="utf-8").splitlines() if not line.startswith("#")]
    found = {(row["first"], row["second"]) for row in csv.DictReader(lines)}
    assert found == {*PAIRS, *SINGLE}


def test_volumes_that_only_add_miss_the_measured_densities():
    """What the excess volumes are worth: without them the rms distance is 15 kg/m3, with them 0.8 (reached)."""
    misses = []
    for pair in PAIRS[1:]:
        t, x, density = published(pair)
        mixture = Mixture(pair)
        w, T = mixture.mass_fractions(np.stack([x, 1.0 - x], axis=-1)), t + 273.15
        pure = np.stack([np.asarray(s.density.at(T)) for s in mixture.substances], axis=-1)
        misses.append(np.stack([1.0 / (w / pure).sum(axis=-1), mixture.density(w, T)]) - density)
    straight, bent = np.sqrt((np.concatenate(misses, axis=-1) ** 2).mean(axis=-1))
    assert straight > 5.0 * bent
    assert bent < 2.0  # kg/m3


def recovered(pair):
    """Truth, posterior means and intervals of the mass fractions, from the densities alone."""
    t, x, density = published(pair)
    mixture = Mixture(pair)
    size = len(x)
    none = nothing(size)
    read = Measured(density, np.full(size, REPEAT), {"density": np.full(size, BIAS)})
    evidence = Evidence(
        tuple(f"x = {value}" for value in x), 101_325.0, 30.0, none, none, none, none, read, t + 273.15, none,
        np.full(size, np.nan),
    )  # fmt: skip
    return mixture.mass_fractions(np.stack([x, 1.0 - x], axis=-1)), fit_evidence(mixture, evidence)


def test_compositions_are_recovered_from_published_densities():
    """Of methanol and acetone density tells nothing; the other three pairs."""
    inside = []
    for pair in (PAIRS[0], PAIRS[2], PAIRS[3]):
        truth, found = recovered(pair)
        inside.append((found.low <= truth)[:, 0] & (truth <= found.high)[:, 0])
        assert (found.high - found.low).max() < 0.15  # an interval that holds everything would prove nothing
        assert np.sqrt(((found.mean - truth) ** 2).mean()) < 0.02
    # Reached: 52 of 54. Missed are two mixtures of 82 wt% acetone, where the measured excess volume is skew.
    assert np.concatenate(inside).mean() >= 0.9
