"""Which cuts to combine: the largest lot whose assay meets the target with the stated confidence.

The lot meets the target when sum_k m_k (w_k - purity) >= 0, which is linear in the cuts' surplus m_k (w_k - purity). The
probability is taken over joint draws, so that errors shared by the cuts are shared by the lot: guarded acceptance in the
sense of JCGM 106:2012, 8.3 (decide "conforms" only when the conformance probability is at least the stated level).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

EXHAUSTIVE = 12  # cuts up to which all combinations are tried: 4,096 of them
LONGEST_SEARCH = 60  # cuts up to which additions and exchanges are tried after the ordered choice: they cost K^2

ALIKE = 6.0
"""Standard errors of so many draws between the best and the last of a hundred cuts that are alike."""


def meets(surplus: Array) -> Array:
    """Probability that the target is met. surplus : (D, ...) draws of sum m (w - purity)."""
    return np.asarray((surplus >= 0.0).mean(axis=0))


def choose(mass: Array, draws: Array, purity: float, confidence: float) -> NDArray[np.bool_]:
    """Cuts of the heaviest lot that meets ``purity`` with probability ``confidence``.

    mass : (K,) kg, NaN where unknown (never chosen). draws : (D, K) joint draws of the target's mass fraction.
    Returns (K,) of bool, all False where no lot meets it. Cuts that no lot can bear, whatever else is in it, are left out
    first. Of up to 12 others every combination is tried and the answer is exact for these draws; beyond, cuts join in
    order of their chance to meet the target alone, alike ones as in the sheet, and up to 60 cuts additions and exchanges
    that gain mass follow until none is left (`fractionkit.lots.combine` goes on from there). A cut that falls short alone
    may join where purer ones make up for it: the lot is what is labelled.
    """
    chosen = np.zeros(len(mass), dtype=bool)
    usable = np.flatnonzero(np.isfinite(mass) & (mass > 0.0))
    surplus = mass[usable] * (draws[:, usable] - purity)
    bearable = _bearable(surplus, confidence)
    usable, surplus = usable[bearable], surplus[:, bearable]
    if not usable.size:
        return chosen
    pick = _exhaustive if usable.size <= EXHAUSTIVE else _ordered
    chosen[usable[pick(mass[usable], surplus, confidence)]] = True
    return chosen


def _bearable(surplus: Array, confidence: float) -> NDArray[np.bool_]:
    """(K,) whether some lot may hold each cut whole: the others would add at most what they have above the purity."""
    left = np.ones(surplus.shape[1], dtype=bool)
    while left.any():
        most = np.maximum(surplus[:, left], 0.0).sum(axis=1)
        stays = meets(most[:, None] + np.minimum(surplus[:, left], 0.0)) >= confidence
        if stays.all():
            break
        left[np.flatnonzero(left)[~stays]] = False
    return left


def _exhaustive(mass: Array, surplus: Array, confidence: float) -> NDArray[np.intp]:
    count = len(mass)
    combos = (np.arange(1, 1 << count)[:, None] >> np.arange(count)) & 1
    total = combos @ mass
    order = np.argsort(
        -np.round(total, 9), kind="stable"
    )  # of the same mass to a microgram those of earlier cuts first
    for first in range(0, len(order), 256):  # heaviest first, so that the first that meets it ends the search
        part = order[first : first + 256]
        good = np.flatnonzero(meets(surplus @ combos[part].T.astype(float)) >= confidence)
        if good.size:
            return np.flatnonzero(combos[part[good[0]]])
    return np.zeros(0, dtype=np.intp)


def _ordered(mass: Array, surplus: Array, confidence: float) -> NDArray[np.intp]:
    order = _order(mass, surplus)
    running = np.cumsum(surplus[:, order], axis=1)
    good = np.flatnonzero(meets(running) >= confidence)
    if not good.size:
        return np.zeros(0, dtype=np.intp)
    chosen = np.zeros(len(mass), dtype=bool)
    chosen[order[: good[-1] + 1]] = True
    if len(mass) > LONGEST_SEARCH:
        return np.flatnonzero(chosen)
    return np.flatnonzero(improved(mass, surplus, confidence, chosen))


def _order(mass: Array, surplus: Array) -> NDArray[np.intp]:
    """Cuts (K,) by their chance to meet the target alone, then by their assay; as in the sheet where draws do not part them."""
    count, chance, assay = len(surplus), meets(surplus), surplus / mass
    spread = np.sqrt(np.maximum(chance * (1.0 - chance), 1.0 / count) / count)
    return np.lexsort((_level(assay.mean(axis=0), assay.std(axis=0) / np.sqrt(count)), _level(chance, spread)))


def _level(values: Array, u: Array) -> NDArray[np.intp]:
    """Ranks (K,) from the highest down; a rank ends `ALIKE` standard errors ``u`` (K,) of its highest below that."""
    order = np.argsort(-values, kind="stable")
    falling = -values[order]
    rank = np.zeros(len(values), dtype=np.intp)
    first = 0
    while first < len(values):
        first = int(np.searchsorted(falling, falling[first] + ALIKE * u[order[first]], side="right"))
        rank[first:] += 1
    found = np.empty_like(rank)
    found[order] = rank
    return found


def improved(mass: Array, surplus: Array, confidence: float, chosen: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """``chosen`` (K,) after the additions, and up to 60 cuts the exchanges, that gain mass and still meet the target."""
    chosen = chosen.copy()
    total = surplus[:, chosen].sum(axis=1)
    while True:
        move = _best_move(mass, surplus, confidence, chosen, total)
        if move is None:
            return chosen
        out, into = move
        total = total + surplus[:, into]
        chosen[into] = True
        if out is not None:
            total = total - surplus[:, out]
            chosen[out] = False


def _best_move(
    mass: Array, surplus: Array, confidence: float, chosen: NDArray[np.bool_], total: Array
) -> tuple[int | None, int] | None:
    """The addition, else the exchange, that gains most mass and still meets the target."""
    outside = np.flatnonzero(~chosen)
    if not outside.size:
        return None
    fits = meets(total[:, None] + surplus[:, outside]) >= confidence
    if fits.any():
        return None, int(outside[fits][np.argmax(mass[outside[fits]])])
    best, gain = None, 0.0
    inside = np.flatnonzero(chosen) if len(mass) <= LONGEST_SEARCH else ()
    for out in inside:
        larger = outside[mass[outside] > mass[out] + gain]
        if not larger.size:
            continue
        fits = meets((total - surplus[:, out])[:, None] + surplus[:, larger]) >= confidence
        if fits.any():
            into = int(larger[fits][np.argmax(mass[larger[fits]])])
            best, gain = (int(out), into), float(mass[into] - mass[out])
    return best
