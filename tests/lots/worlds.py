"""Materials drawn from a known rule, and brute force over parts on a grid: what the optimiser is held against."""

from itertools import product

import numpy as np

from fractionkit.lots import Material

PAIR = ("chloroform", "carbon tetrachloride")


def materials(seed, count, *, draws=400, origins=1, spread=0.1, u=0.006):
    """Cuts of ``origins`` runs: a bias shared by the cuts of a run and as large an error of each cut's own."""
    rng = np.random.default_rng(seed)
    mass = rng.uniform(0.05, 0.4, count)
    centre = 1.0 - spread * rng.random(count) ** 2
    bias = rng.standard_normal((origins, draws))
    made = []
    for k in range(count):
        w = np.clip(centre[k] + u * bias[k % origins] + u * rng.standard_normal(draws), 0.0, 1.0)
        made.append(Material(f"C{k}", PAIR, float(mass[k]), 1e-4, np.stack([w, 1.0 - w], axis=1), f"run {k % origins}"))
    return tuple(made)


def grid_best(made, levels):
    """Most worth of any plan whose parts lie on ``levels``, each tried on all draws of ``made`` (a Combination)."""
    mass = np.array([m.mass for m in made.materials])
    lots = len(made.wanted)
    shares = [row for row in product(levels, repeat=lots) if sum(row) <= 1.0]
    plans = np.array(list(product(shares, repeat=len(mass))))  # (W, M, L)
    worth = np.einsum("wml,m,l->w", plans, mass, made.worth)
    order = np.argsort(-worth)
    held = [made.draws[:, :, made.components.index(want.component)] for want in made.wanted]
    for first in range(0, len(order), 512):
        part = plans[order[first : first + 512]]
        good = np.ones(len(part), dtype=bool)
        for lot, want in enumerate(made.wanted):
            total = mass * (held[lot] - want.purity) @ part[..., lot].T
            good &= ((total >= 0.0).mean(axis=0) >= want.confidence) | ~part[..., lot].any(axis=1)
        if good.any():
            return float(worth[order[first + int(np.argmax(good))]])
    return 0.0
