"""Fit my still: from an assessed run to the number of stages, the hold-up, and how well one number explains the run."""

from __future__ import annotations

from fractionkit.composition import correct, fit_evidence
from fractionkit.mixture import Mixture
from fractionkit.quantities import Quantity
from fractionkit.sheets import Run
from fractionkit.stages.lay import lay_out, masses_of, reflux_of
from fractionkit.stages.model import FittedStill, StillFit
from fractionkit.stages.report import report
from fractionkit.stages.space import Stages


def fit(run: Run, *, reflux: Quantity | None = None) -> StillFit:
    """Infer the number of stages and the hold-up from a run.

    Parameters
    ----------
    run
        The sheet; its [still] says which stages the column is said to have, to compare with.
    reflux
        Ratio L/D as typed, in place of the sheet's.

    Raises
    ------
    InputError
        where masses lack.
    ConvergenceError
        where the readings are so much at odds with any still, or with one another, that no interval can be stated.
    """
    mixture = Mixture(run.components)
    corrected = correct(run, mixture)
    posterior = fit_evidence(mixture, corrected.evidence)
    stated, noted = (None, None) if run.still is None else (run.still.stages, run.still.reflux)
    mass = masses_of(run, mixture, corrected, posterior)
    laid = lay_out(run, mixture, corrected, posterior, mass, Stages(), reflux_of(reflux or noted))
    return report(laid, laid.sampled(), stated)


def fitted(run: Run) -> FittedStill:
    """The still of a run, for a plan: see `fit`."""
    return fit(run).fitted
