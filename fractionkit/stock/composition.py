"""Compositions as the logbook keeps them: joint draws of a whole run, thinned; mixtures of them; what a person typed."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fractionkit.errors import Fault, InputError
from fractionkit.quantities import Estimate, Quantity
from fractionkit.stock.rows import Origin

Array = NDArray[np.float64]
Composition = dict[str, Estimate]

DRAWS = 512  # worlds in which the whole shelf is known; 4 bytes a fraction
_SEED = 20261125
_STORED = np.dtype("<f4")


@dataclass(frozen=True)
class Known:
    """What is known of a composition: components, draws (DRAWS, n) and the intervals to show."""

    components: tuple[str, ...]
    draws: Array
    composition: Composition


def thin(draws: Array) -> Array:
    """DRAWS of (D, ...) draws, evenly along them; the same draws give the same."""
    return np.asarray(draws[np.linspace(0, len(draws) - 1, DRAWS).round().astype(int)])


def shuffled(batch: int) -> NDArray[np.intp]:
    """Order of a batch's draws on the shelf: its own, so that row d of two batches is no more than chance."""
    return np.random.default_rng([_SEED, batch]).permutation(DRAWS)


def encode(draws: Array) -> bytes:
    """Draws (DRAWS, n) as they are stored."""
    return np.ascontiguousarray(draws, dtype=_STORED).tobytes()


def composition_text(composition: Mapping[str, Estimate]) -> str:
    """Component -> [estimate, low, high] as JSON."""
    told = {name: [made.estimate, made.low, made.high] for name, made in composition.items()}
    return json.dumps(told, ensure_ascii=False)


def known(origin: Origin) -> Known:
    """What is known of a material as it first came."""
    told = json.loads(origin.composition)
    components = tuple(told)
    draws = np.frombuffer(origin.draws, dtype=_STORED).reshape(-1, len(components)).astype(float)
    return Known(
        components,
        draws / draws.sum(axis=1, keepdims=True),  # single precision adds to 1 within 1e-7
        {name: Estimate(*map(float, figures)) for name, figures in told.items()},
    )


def blend(parts: Sequence[tuple[Known, float]]) -> Known:
    """Mixture of materials, each with its mass; errors that they share stay shared.

    Raises
    ------
    ValueError
        if there is nothing to mix.
    """
    total = sum(mass for _, mass in parts)
    if not parts or total <= 0:
        raise ValueError("nothing to mix")
    if len(parts) == 1:
        return parts[0][0]
    components = tuple(dict.fromkeys(name for part, _ in parts for name in part.components))
    draws = np.zeros((DRAWS, len(components)))
    for part, mass in parts:  # materials, not draws
        draws[:, [components.index(name) for name in part.components]] += mass / total * part.draws
    return Known(components, draws, intervals(components, draws))


def intervals(components: Sequence[str], draws: Array) -> Composition:
    """Mean and 95 % interval of each component of draws (D, n)."""
    from fractionkit.assessment.estimates import estimates

    return dict(zip(components, estimates(draws), strict=True))


def typed(shares: Mapping[str, Quantity | None], seed: int) -> Known:
    """A composition as a person wrote it: shares with ±, None for the rest.

    Each share is drawn from a normal distribution cut off at 0 and 100 %; of the draws, those that leave room for the rest
    count. Without a rest, they are brought to 100 %.

    Raises
    ------
    InputError
        where two shares are the rest, or the others leave no room for it, or all together are not 100 %.
    """
    from scipy.stats import truncnorm

    names = tuple(shares)
    rests = [name for name, share in shares.items() if share is None]
    given = [name for name in names if name not in rests]
    value = np.array([share.value for share in shares.values() if share is not None])
    u = np.array([max(share.u or 0.0, 1e-9) for share in shares.values() if share is not None])
    room = 0.006 + 1.96 * float(np.hypot.reduce(u, initial=0.0))
    total = float(value.sum())
    if len(rests) > 1 or total > 1 + room or (not rests and total < 1 - room):
        rest = "" if rests else ': name the rest too, like "water = rest"'
        expected = f'shares that add to 100 wt%, one of them may be "rest"; these add to {100 * total:.4g} wt%{rest}'
        raise InputError(Fault(", ".join(names), expected, column="composition"))
    wide = np.zeros((DRAWS, len(names)))
    if given:
        rng = np.random.default_rng([_SEED, seed, 1])
        spread = truncnorm((0 - value) / u, (1 - value) / u, loc=value, scale=u)
        drawn = np.asarray(spread.rvs(size=(16 * DRAWS, len(given)), random_state=rng), dtype=float)
        fits = drawn[drawn.sum(axis=1) <= 1.0] if rests else drawn
        drawn = fits[:DRAWS] if len(fits) >= DRAWS else drawn[:DRAWS]
        wide[:, [names.index(name) for name in given]] = drawn
    if rests:
        wide[:, names.index(rests[0])] = np.maximum(1.0 - wide.sum(axis=1), 0.0)
    wide /= wide.sum(axis=1, keepdims=True)
    return Known(names, wide, intervals(names, wide))


def unknown(components: Sequence[str], seed: int) -> Known:
    """Anything at all made of these components: every composition is as likely as every other."""
    draws = np.random.default_rng([_SEED, seed, 2]).dirichlet(np.ones(len(components)), size=DRAWS)
    return Known(tuple(components), draws, intervals(components, draws))
