"""Figures of the study as the tables of the report."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import fields, replace
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from tests.proof.coverage import NEAR_PURE, REGIMES, Cuts, Further

Array = NDArray[np.float64]

HAND_WORTH = 0.01  # hand methods off by less than 1 wt% are not a measure
BANDS = (0.0, 1.0 - NEAR_PURE, 0.2, 0.4, 0.6, 0.8, NEAR_PURE, 1.0)  # true mass fractions of the first component


class Scored(Protocol):
    """Cuts whose intervals were held against the truth, with the run of each."""

    @property
    def names(self) -> tuple[str, ...]: ...
    @property
    def run(self) -> NDArray[np.intp]: ...
    @property
    def hit95(self) -> NDArray[np.bool_]: ...
    @property
    def hit80(self) -> NDArray[np.bool_]: ...


def title(cuts: Scored) -> str:
    """Names of a mixture for a table."""
    return " + ".join(cuts.names)


def coverage(found: Sequence[Scored], of: Callable[[Scored], NDArray[np.bool_]]) -> float:
    """Share of cuts whose intervals hold the truth; in a cut of three the mean of its three."""
    return float(np.mean(np.concatenate([of(cuts).mean(axis=1) for cuts in found])))


def standard_error(found: Sequence[Scored], of: Callable[[Scored], NDArray[np.bool_]]) -> float:
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


def hit95(cuts: Scored) -> NDArray[np.bool_]:
    """95 % intervals."""
    return cuts.hit95


def hit80(cuts: Scored) -> NDArray[np.bool_]:
    """80 % intervals."""
    return cuts.hit80


def rms(values: Array) -> float:
    """Root of the mean square, NaN where there is nothing."""
    return float(np.sqrt(np.mean(values**2))) if values.size else float("nan")


def both_read(cuts: Cuts) -> NDArray[np.bool_]:
    """(K,) cuts for which either hand method has its reading."""
    return (cuts.regime < 2) & np.isfinite(cuts.by_density) & np.isfinite(cuts.by_raoult)


def errors(cuts: Cuts) -> tuple[float, float, float]:
    """RMS error of the estimate, the density line and Raoult's curve on the cuts that have both readings."""
    both = both_read(cuts)
    return rms(cuts.error[both, 0]), rms(cuts.by_density[both]), rms(cuts.by_raoult[both])


def against_hand(cuts: Cuts) -> tuple[float, float, float]:
    """RMS error by the better hand method, of the estimate over it, and of the bound over it.

    On the cuts of those bands of true composition in which that method's RMS error is over 1 wt%; NaN where there are none.
    """
    both = both_read(cuts)
    _, line, raoult = errors(cuts)
    hand = cuts.by_density if line <= raoult else cuts.by_raoult
    band = np.clip(np.searchsorted(BANDS, cuts.truth[:, 0], side="right") - 1, 0, len(BANDS) - 2)
    worth = np.zeros(len(hand), dtype=bool)
    for k in range(len(BANDS) - 1):
        inside = both & (band == k)
        if rms(hand[inside]) > HAND_WORTH:
            worth |= inside
    by_hand = rms(hand[worth])
    return by_hand, rms(cuts.error[worth, 0]) / by_hand, rms(cuts.bound[worth, 0]) / by_hand


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


def _number(value: float) -> str:
    return "–" if np.isnan(value) else f"{value:.2f}"


def _with_error(found: Sequence[Scored], of: Callable[[Scored], NDArray[np.bool_]]) -> str:
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
        by_hand, part, least = against_hand(cuts)
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
                _percent(line, 2),
                _percent(raoult, 2),
                _percent(by_hand, 2),
                _number(part),
                _number(least),
            ]
        )
    head = ("mixture", "instruments", "cuts", "95 %", "80 %", "half width / bound", "refused", "RMS error, wt%",
            "density line, wt%", "Raoult, wt%", "better by hand where over 1, wt%", "ours over it", "bound over it")  # fmt: skip
    return _table(head, rows)


def _chosen(cuts: Cuts, rows: NDArray[np.bool_]) -> Cuts:
    """Some of the cuts; what is not of cuts stays."""
    per_cut = [f.name for f in fields(cuts) if f.name not in ("names", "quality", "refused", "claims", "consistency")]
    return replace(cuts, **{name: getattr(cuts, name)[rows] for name in per_cut})


def by_regime(found: Sequence[Cuts]) -> list[str]:
    """One row a kind of evidence and quality."""
    rows = []
    for number, regime in enumerate(REGIMES[:5]):
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


def control_by_mixture(found: Sequence[Cuts]) -> list[str]:
    """Coverage of the control, one row a mixture and quality."""
    rows = [
        [title(cuts), cuts.quality, str(len(cuts.truth)), _with_error([cuts], hit95), _with_error([cuts], hit80),
         f"{ratio([cuts]):.2f}"]
        for cuts in found
    ]  # fmt: skip
    return _table(("mixture", "instruments", "cuts", "95 %", "80 %", "half width / bound"), rows)


def further(found: Sequence[Further], components: int) -> list[str]:
    """What further evidence does for mixtures of two or of three components, one row a kind and quality."""
    some = [part for part in found if len(part.names) == components]
    rows = []
    for kind in dict.fromkeys(part.kind for part in some):
        for quality in sorted({part.quality for part in some}):
            chosen = [part for part in some if (part.kind, part.quality) == (kind, quality)]
            of = [replace(part, **{name: getattr(part, name)[part.of] for name in ("hit95", "hit80", "narrower", "run")})
                  for part in chosen]  # fmt: skip
            rows.append(
                [
                    kind,
                    quality,
                    str(sum(len(part.run) for part in chosen)),
                    _with_error(chosen, hit95),
                    _with_error(chosen, hit80),
                    _median(chosen),
                    _with_error(of, hit95),
                    _median(of),
                    str(sum(part.refused for part in chosen)),
                ]
            )
    head = ("evidence", "instruments", "cuts", "95 %", "80 %", "half width to that without", "95 %, cuts read so",
            "half width there", "refused")  # fmt: skip
    return _table(head, rows)


def _median(parts: Sequence[Further]) -> str:
    return f"{np.median(np.concatenate([part.narrower.ravel() for part in parts])):.2f}"
