"""Points on the simplex where volatilities are sampled and checked, and the monomials that are fitted to them."""

from __future__ import annotations

from itertools import product

import numpy as np
from numpy.typing import NDArray

from fractionkit.still.equilibrium import Array, unit

NEARLY_ABSENT = 1e-9
"""Fraction at which the K-value of an absent component is sampled."""


def powers(variables: int, degree: int) -> NDArray[np.int64]:
    """Exponents (terms, variables) up to a total degree, the constant first."""
    found = [p for p in product(range(degree + 1), repeat=variables) if sum(p) <= degree]
    return np.array(sorted(found, key=sum), dtype=np.int64).reshape(-1, variables)


def chain(powers: NDArray[np.int64]) -> list[tuple[int, int]]:
    """For every monomial but the first, an earlier one and the variable that leads from it."""
    rows = [tuple(p) for p in powers.tolist()]
    where = {p: i for i, p in enumerate(rows)}
    links = []
    for p in rows[1:]:
        k = next(j for j, q in enumerate(p) if q > 0)
        links.append((where[tuple(q - (j == k) for j, q in enumerate(p))], k))
    return links


def nodes(n: int, count: int) -> Array:
    """Sample points (m, n): Chebyshev points, ends included, in the fractions of what is left (Duffy's coordinates)."""
    line = 0.5 - 0.5 * np.cos(np.pi * np.arange(count) / max(count - 1, 1))
    return simplex_points(np.array(list(product(line, repeat=n - 1))).reshape(-1, n - 1))


def thinned(points: Array, most: int) -> Array:
    """At most so many of the points, chosen at random with a fixed seed."""
    if len(points) <= most:
        return points
    return points[np.sort(np.random.default_rng(1).permutation(len(points))[:most])]


def inner(n: int) -> Array:
    """Check points (m, n): an even lattice in the same coordinates between the samples, and points near the edges."""
    count = {2: 101, 3: 17, 4: 9, 5: 6}[n]
    line = np.concatenate([(np.arange(count) + 0.5) / count, [0.002, 0.998]])
    return simplex_points(np.array(list(product(line, repeat=n - 1))).reshape(-1, n - 1))


def simplex_points(parts: Array) -> Array:
    """Compositions (m, n) from parts (m, n - 1) of what the components before have left."""
    left = np.ones(len(parts))
    columns = []
    for k in range(parts.shape[1]):
        columns.append(left * parts[:, k])
        left = left * (1.0 - parts[:, k])
    x = np.maximum(np.stack([*columns, left], axis=-1), NEARLY_ABSENT)
    return unit(x)
