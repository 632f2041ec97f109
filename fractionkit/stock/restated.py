"""What assessing a run made of its charge, against what the bottles were thought to hold that went into it."""

from __future__ import annotations

import numpy as np

from fractionkit.quantities import Estimate
from fractionkit.stock import composition
from fractionkit.stock.ledger import MICROGRAMS, Ledger
from fractionkit.stock.shelf import component_masses

NOTICEABLE = 0.02
"""Part of the charge from which a difference is told (common practice, no source)."""


def restated(ledger: Ledger, run: str) -> dict[str, Estimate]:
    """Component -> kg that the run shows more (less: below 0) than was charged, where the two cannot be the same.

    Both are draws: a difference is told where its 95 % interval lies beyond `NOTICEABLE` of the charge. Charge that came
    from no bottle makes up what the run shows, so that it never differs.
    """
    state = ledger.state()
    batch = next(batch for batch in ledger.batches.values() if batch.name == run)
    pots = [place.id for place in ledger.places.values() if place.kind == "run" and place.batch == batch.id]
    charged = {key: mass for pot in pots for key, mass in state.distilled.get(pot, {}).items()}
    shown = {key: mass for key, mass in state.came.items() if ledger.origins[key].batch == batch.id}
    inside, outside = component_masses(ledger, charged), component_masses(ledger, shown)
    none, least = np.zeros(composition.DRAWS), NOTICEABLE * sum(charged.values()) / MICROGRAMS
    found = {}
    for name in dict.fromkeys((*outside, *inside)):
        more = outside.get(name, none) - inside.get(name, none)
        low, high = (float(end) for end in np.quantile(more, [0.025, 0.975]))
        if low > least or high < -least:
            found[name] = Estimate(float(more.mean()), low, high)
    return found
