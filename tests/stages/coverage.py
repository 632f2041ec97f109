"""One simulated run fitted, and scored against its truth."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from fractionkit.composition import correct, fit_evidence
from fractionkit.errors import ConvergenceError
from fractionkit.mixture import Mixture
from fractionkit.sheets.model import ColumnEntry
from fractionkit.stages import StillFit, fit
from fractionkit.stages.tie import tie
from tests.stages.worlds import World, number

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Score:
    """stages_hit, holdup_hit : whether the interval holds the truth, None where no interval was stated.

    free_hit, tied_hit : (K, n) whether intervals of the cuts hold the truth, alone and tied; free_half, tied_half.
    """

    world: World
    made: StillFit | None
    stages_hit: bool | None
    holdup_hit: bool | None
    tied_used: bool
    free_hit: NDArray[np.bool_]
    tied_hit: NDArray[np.bool_]
    free_half: Array
    tied_half: Array
    why: str = ""

    def line(self) -> str:
        """A line of text."""
        if self.made is None and not len(self.free_hit):
            return self.why
        tied = (
            f"cuts {self.free_hit.mean():.2f} tied {self.tied_hit.mean():.2f} half "
            f"{self.tied_half.mean() / self.free_half.mean():.2f} {self.why}"
            if len(self.free_hit)
            else ""
        )
        if self.made is None:
            return tied
        f = self.made
        return (
            f"stages {f.stages.estimate:.2f} ({f.stages.low:.2f}-{f.stages.high:.2f}) {'hit' if self.stages_hit else 'MISS'}"
            f" hold-up {f.holdup.estimate:.3f} ({f.holdup.low:.3f}-{f.holdup.high:.3f}) {'hit' if self.holdup_hit else 'MISS'}"
            f" chance {f.chance:.3f} ess {f.effective:.0f} {tied}"
        )


def score(
    world: World, *, reflux_known: bool = True, tied: bool = False, fitted: bool = True, half: float = 0.2
) -> Score:
    """Fit one world; ``half``: relative 95 % half-width with which reflux and (tied) stages are stated."""
    reflux = number(world.reflux, half * world.reflux) if reflux_known else None
    nothing = np.zeros((0, world.w.shape[1]))
    none = nothing.astype(bool)
    made, in_stages, in_holdup = None, None, None
    if fitted:
        try:
            made = fit(world.run, reflux=reflux)
        except ConvergenceError as error:
            return Score(world, None, None, None, False, none, none, nothing, nothing, str(error))
        in_stages = made.stages.low - 1e-6 <= world.stages <= made.stages.high + 1e-6
        in_holdup = made.holdup.low - 1e-6 <= world.holdup <= made.holdup.high + 1e-6
    if not tied:
        return Score(world, made, in_stages, in_holdup, False, none, none, nothing, nothing)
    stated = number(world.stages, max(half * world.stages, 0.2))
    run = replace(world.run, still=ColumnEntry(stated, reflux))
    mixture = Mixture(run.components)
    corrected = correct(run, mixture)
    posterior = fit_evidence(mixture, corrected.evidence)
    bound = tie(run, mixture, corrected, posterior, run.cuts.mass)

    def hit(low: Array, high: Array) -> NDArray[np.bool_]:
        return (low <= world.w + 1e-9) & (world.w <= high + 1e-9)

    after = bound.posterior
    return Score(
        world, made, in_stages, in_holdup, bound.used, hit(posterior.low, posterior.high), hit(after.low, after.high),
        0.5 * (posterior.high - posterior.low), 0.5 * (after.high - after.low), "" if bound.used else bound.text,
    )  # fmt: skip


def summary(scores: Sequence[Score]) -> str:
    """Proportions over many runs."""
    told = [s for s in scores if s.made is not None]
    lines = []
    if told:
        lines.append(
            f"{len(told)} of {len(scores)} runs answered; stages held {np.mean([s.stages_hit for s in told]):.3f}, "
            f"hold-up held {np.mean([s.holdup_hit for s in told]):.3f}"
        )
    bound = [s for s in scores if s.tied_used]
    if bound:
        free, tied = np.concatenate([s.free_hit for s in bound]), np.concatenate([s.tied_hit for s in bound])
        before, after = np.concatenate([s.free_half for s in bound]), np.concatenate([s.tied_half for s in bound])
        lines.append(
            f"{len(bound)} of {len(scores)} tied: intervals of the cuts held {free.mean():.3f} alone, "
            f"{tied.mean():.3f} tied; half widths "
            f"median {100 * np.median(before):.2f} -> {100 * np.median(after):.2f} wt%, mean {100 * before.mean():.2f} -> "
            f"{100 * after.mean():.2f} wt%"
        )
    return "\n".join(lines)
