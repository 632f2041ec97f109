"""What may be combined, distilled again or stood on the shelf: a mass with its composition and how sure that is."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Material:
    """One cut, bottle or portion.

    name : what it is called, like "C5". components : canonical names. mass : kg; mass_u : its standard uncertainty.
    draws : (D, n) mass fractions. origin : run or lot it comes from: materials of one origin share their errors, so that
    row d of one goes with row d of the other; materials of different origins are independent.
    """

    name: str
    components: tuple[str, ...]
    mass: float
    mass_u: float
    draws: Array
    origin: str

    def over(self, components: tuple[str, ...]) -> Array:
        """Draws (D, len(components)) for other components; what those do not name must not be here.

        Raises
        ------
        ValueError
            if the material has a component that ``components`` lacks.
        """
        missing = set(self.components) - set(components)
        if missing:
            raise ValueError(f"{self.name} holds {sorted(missing)}")
        wide = np.zeros((len(self.draws), len(components)))
        wide[:, [components.index(name) for name in self.components]] = self.draws
        return wide


def together(materials: tuple[Material, ...], components: tuple[str, ...], count: int) -> Array:
    """Joint draws (count, M, n) of several materials over one list of components.

    Rows of one origin stay together; origins are put together at random, since nothing ties them. Fewer rows than there
    are draws are spread over all of them: draws need not stand in random order.
    """
    rng = np.random.default_rng(20240517)
    wide = np.empty((count, len(materials), len(components)))
    rows: dict[str, NDArray[np.intp]] = {}
    for m, material in enumerate(materials):  # bottles, not draws
        size = len(material.draws)
        if material.origin not in rows:
            spread = (np.arange(count) * size) // count if count < size else np.resize(np.arange(size), count)
            rows[material.origin] = rng.permutation(spread)
        wide[:, m] = material.over(components)[rows[material.origin] % size]
    return wide
