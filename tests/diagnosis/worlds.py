"""Invented runs read without scatter, in a world that is exactly the estimator's: what is planted must be found."""

from dataclasses import replace

import numpy as np

from fractionkit.composition.evidence import Evidence, nothing
from fractionkit.mixture import Mixture
from fractionkit.readings.terms import Measured
from fractionkit.still import Charge, distil

PAIR = ("chloroform", "carbon tetrachloride")
PRESSURE = 98_000.0


def measured(values, repeat, name, bias):
    size = len(values)
    return Measured(np.asarray(values, float), np.full(size, repeat), {name: np.full(size, bias)})


def evidence(names, w, temperature=295.15):
    """Heads and densities of cuts with mass fractions w (K, n), good instruments."""
    mixture = Mixture(names)
    w = np.asarray(w, float)
    dew, _ = mixture.dew_point(mixture.mole_fractions(w), PRESSURE)
    size = len(w)
    T = np.full(size, temperature)
    return Evidence(
        tuple(f"C{k + 1}" for k in range(size)),
        PRESSURE,
        50.0,
        measured(dew - 0.2, 0.05, "thermometer", 0.1),
        measured(dew + 0.2, 0.05, "thermometer", 0.1),
        nothing(size),
        nothing(size),
        measured(mixture.density(w, T), 0.2, "density", 0.2),
        T,
        nothing(size),
        np.full(size, np.nan),
    )


def binary(size=8):
    first = np.linspace(0.92, 0.08, size)
    return evidence(PAIR, np.stack([first, 1.0 - first], axis=-1))


def with_density(given, change):
    return replace(given, density=replace(given.density, value=given.density.value + change))


def distilled(names, charge, stages=1, cuts=8):
    """Mass fractions (K, n) and masses (K,) of equal cuts of a charge (n,) of 1 kg, of which nine tenths come over."""
    moles = Charge(np.asarray(charge)[None], 1.0, "mass").moles(Mixture(names).molar_mass)
    whole = distil(Mixture(names), moles, float(stages), 3.0, PRESSURE, distilled=np.array([0.95]))
    taken = whole.cut_at_mass(0.9 * np.arange(1, cuts + 1)[None] / cuts)
    return taken.w[0], taken.mass[0]
