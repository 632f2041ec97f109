"""Figures of the study as the tables of the report."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import fields, replace

import numpy as np
from numpy.typing import NDArray

from tests.proof.coverage import REGIMES, Cuts

Array = NDArray[np.float64]

HAND_WORTH = 0.01  # hand methods off by less than 1 wt% are not a measure


def title(cuts: Cuts) -> str:
    """Names of a mixture for a table."""
    return " + ".join(cuts.names)


def coverage(found: Sequence[Cuts], of: Callable[[Cuts], NDArray[np.bool_]]) -> float:
    """Share of cuts whose intervals hold the truth; in a cut of three the mean of its three."""
    return float(np.mean(np.concatenate([of(cuts).mean(axis=1) for cuts in found])))


def standard_error(found: Sequence[Cuts], of: Callable[[Cuts], NDArray[np.bool_]]) -> float:
    """Of a coverage, from the spread between runs, since the cuts of a run share their instruments' errors.

    A run that was read with both qualities of instruments counts once: its constants are the same in both.
    """
    level = coverage(found, of)
    away: dict[tuple[tuple[str, ...], int], float] = {}
    total = 0
    for cuts in found:
        hit = of(cuts).mean(axis=1) - level
        for run in np.unique(cuts.run).tolist():
            key = (cuts.names, run)
            away[key] = away.get(key, 0.0) + float(hit[cuts.run == run].sum())
        total += len(hit)
    return float(np.sqrt(np.sum(np.square(list(away.values())))) / total)


def hit95(cuts: Cuts) -> NDArray[np.bool_]:
    """95 % intervals."""
    return cuts.hit95


def hit80(cuts: Cuts) -> NDArray[np.bool_]:
    """80 % intervals."""
    return cuts.hit80


def rms(values: Array) -> float:
    """Root of the mean square, NaN where there is nothing."""
    return float(np.sqrt(np.mean(values**2))) if values.size else float("nan")


def least_error(cuts: Cuts) -> float:
    """RMS of the bound of the first component, on the cuts that `errors` takes."""
    both = (cuts.regime < 2) & np.isfinite(cuts.by_density) & np.isfinite(cuts.by_raoult)
    return rms(cuts.bound[both, 0])


def errors(cuts: Cuts) -> tuple[float, float, float]:
    """RMS error of the estimate, the density line and Raoult's curve on the cuts that have both readings."""
    both = (cuts.regime < 2) & np.isfinite(cuts.by_density) & np.isfinite(cuts.by_raoult)
    return rms(cuts.error[both, 0]), rms(cuts.by_density[both]), rms(cuts.by_raoult[both])


def ratio(found: Sequence[Cuts]) -> float:
    """Median of half width / 1.96 over the bound, interior cuts."""
    parts = [(cuts.half / 1.959964 / cuts.bound)[cuts.interior].ravel() for cuts in found]
    joined = np.concatenate(parts)
    return float(np.median(joined)) if joined.size else float("nan")


def false_claims(found: Sequence[Cuts]) -> tuple[int, int]:
    """Lots declared to meet their target, and how many of them do not."""
    claims = np.concatenate([cuts.claims for cuts in found])
    return len(claims), int((claims[:, 2] == 0.0).sum())


def _table(head: Sequence[str], rows: Sequence[Sequence[str]]) -> list[str]:
    return ["| " + " | ".join(row) + " |" for row in (head, ["---"] * len(head), *rows)] + [""]


def _percent(value: float, digits: int = 1) -> str:
    return "–" if np.isnan(value) else f"{100.0 * value:.{digits}f}"


def _with_error(found: Sequence[Cuts], of: Callable[[Cuts], NDArray[np.bool_]]) -> str:
    return f"{_percent(coverage(found, of))} ± {_percent(standard_error(found, of))}"


def overall(found: Sequence[Cuts]) -> list[str]:
    """One row a quality and one for both together."""
    rows = []
    for name in (*sorted({cuts.quality for cuts in found}), "both"):
        part = [cuts for cuts in found if name in (cuts.quality, "both")]
        declared, wrong = false_claims(part)
        rows.append(
            [
                name,
                str(sum(len(cuts.truth) for cuts in part)),
                _with_error(part, hit95),
                _with_error(part, hit80),
                f"{ratio(part):.2f}",
                f"{wrong} of {declared}",
                str(sum(cuts.refused for cuts in part)),
            ]
        )
    head = (
        "instruments",
        "cuts",
        "95 % intervals hold, %",
        "80 % intervals hold, %",
        "half width / bound",
        "false claims",
        "runs refused",
    )
    return _table(head, rows)


def by_mixture(found: Sequence[Cuts]) -> list[str]:
    """One row a mixture and quality."""
    rows = []
    for cuts in found:
        ours, line, raoult = errors(cuts)
        better, least = np.fmin(line, raoult), least_error(cuts)
        rows.append(
            [
                title(cuts),
                cuts.quality,
                str(len(cuts.truth)),
                _with_error([cuts], hit95),
                _with_error([cuts], hit80),
                f"{ratio([cuts]):.2f}",
                str(cuts.refused),
                _percent(ours, 2),
                _percent(least, 2),
                _percent(line, 2),
                _percent(raoult, 2),
                f"{ours / better:.2f}" if better > HAND_WORTH else "–",
                f"{least / better:.2f}" if better > HAND_WORTH else "–",
            ]
        )
    head = ("mixture", "instruments", "cuts", "95 %", "80 %", "half width / bound", "refused", "RMS error, wt%",
            "bound, wt%", "density line, wt%", "Raoult, wt%", "ours / better by hand", "bound / better by hand")  # fmt: skip
    return _table(head, rows)


def _chosen(cuts: Cuts, rows: NDArray[np.bool_]) -> Cuts:
    """Some of the cuts; what is not of cuts stays."""
    per_cut = [f.name for f in fields(cuts) if f.name not in ("names", "quality", "refused", "claims", "consistency")]
    return replace(cuts, **{name: getattr(cuts, name)[rows] for name in per_cut})


def by_regime(found: Sequence[Cuts]) -> list[str]:
    """One row a kind of evidence and quality."""
    rows = []
    for number, regime in enumerate(REGIMES[:4]):
        for quality in sorted({cuts.quality for cuts in found}):
            part = [_chosen(cuts, cuts.regime == number) for cuts in found if cuts.quality == quality]
            wide = np.concatenate([cuts.half.ravel() for cuts in part])
            if wide.size:
                rows.append([regime, quality, str(sum(len(cuts.truth) for cuts in part)), _with_error(part, hit95),
                             _with_error(part, hit80), _percent(float(np.median(wide)), 2)])  # fmt: skip
    return _table(("readings", "instruments", "cuts", "95 %", "80 %", "median half width, wt%"), rows)


def places(found: Sequence[Cuts]) -> list[str]:
    """Where the dew point of a cut's mean composition lies between its two head temperatures, each cut counted once."""
    quality = found[0].quality
    part = [cuts for cuts in found if cuts.quality == quality]
    place = np.concatenate([cuts.place for cuts in part])
    stages = np.concatenate([cuts.stages for cuts in part])
    rows = []
    for name, chosen in (("differential", stages == 1), ("2 to 5 stages", stages > 1)):
        values = place[chosen & np.isfinite(place)]
        quantiles = np.quantile(values, [0.005, 0.025, 0.25, 0.5, 0.75, 0.975, 0.995])
        rows.append(
            [name, str(values.size), f"{values.mean():.3f}", f"{values.std():.3f}", *(f"{q:.2f}" for q in quantiles)]
        )
    return _table(("still", "cuts", "mean", "sd", "0.5 %", "2.5 %", "25 %", "50 %", "75 %", "97.5 %", "99.5 %"), rows)
